// Renews a part of the page whenever the server tells of a change, while somebody can see it.
const part = document.querySelector("[data-follow]");
const waits = document.querySelector("[data-reload]");
let source = null;
let told = 0;

async function changed() {
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
}

// A browser keeps few lines to one address: a tab that nobody looks at gives its own back.
function look() {
  if (document.hidden || !(part || waits)) {
    source?.close();
    source = null;
  } else if (!source) {
    source = new EventSource("/changes");
    source.addEventListener("change", changed);
  }
}

document.addEventListener("visibilitychange", look);
addEventListener("pagehide", () => source?.close());
look();
