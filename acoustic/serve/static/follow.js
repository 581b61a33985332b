// Renews a part of the page whenever the server tells of a change.
const part = document.querySelector("[data-follow]");
const waits = document.querySelector("[data-reload]");
const source = part || waits ? new EventSource("/changes") : null;
let told = 0;
source?.addEventListener("change", async () => {
  told += 1;
  if (waits) {
    // The first one only says that the line is open.
    if (told > 1) location.reload();
    return;
  }
  const answer = await fetch(part.dataset.follow);
  if (!answer.ok) return;
  // Our own server's template, in which everything is escaped.
  part.innerHTML = await answer.text();
  if (part.hasAttribute("data-until-done") && part.querySelector("[data-done]")) location.reload();
});
addEventListener("pagehide", () => source?.close());
