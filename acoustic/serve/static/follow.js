// Renews a part of the page whenever the server tells of a change.
const part = document.querySelector("[data-follow]");
const source = new EventSource("/changes");
source.addEventListener("change", async () => {
  if (document.querySelector("[data-reload]")) {
    if (source.heard) location.reload();
    source.heard = true;
    return;
  }
  const answer = await fetch(part.dataset.follow);
  if (!answer.ok) return;
  // Our own server's template, in which everything is escaped.
  part.innerHTML = await answer.text();
  if (part.hasAttribute("data-until-done") && part.querySelector("[data-done]")) {
    source.close();
    location.reload();
  }
});
addEventListener("pagehide", () => source.close());
