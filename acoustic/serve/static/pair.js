// Takes the code out of the address at once, so that it stays in no history, and fills the form.
const code = location.hash.slice(1);
if (code) {
  history.replaceState(null, "", location.pathname);
  document.getElementById("code").value = code;
  const name = document.getElementById("name");
  if (!name.value) name.value = /iPhone|iPad|Android/.exec(navigator.userAgent)?.[0] ?? "A computer";
}
