// Says how much of a recording has been sent.
const form = document.querySelector("[data-send]");
const progress = document.getElementById("progress");
form.addEventListener("submit", (event) => {
  event.preventDefault();
  const request = new XMLHttpRequest();
  request.upload.addEventListener("progress", (sent) => {
    if (sent.lengthComputable) progress.textContent = `Sending: ${Math.round((100 * sent.loaded) / sent.total)} %`;
  });
  request.addEventListener("load", () => {
    if (request.status < 400) {
      location.assign(request.responseURL);
      return;
    }
    const page = new DOMParser().parseFromString(request.responseText, "text/html");
    progress.textContent = [...page.querySelectorAll("main p")].slice(0, 2).map((line) => line.textContent).join(" ");
  });
  request.addEventListener("error", () => {
    progress.textContent = "It did not arrive: is the phone still in the workshop’s network? Nothing is lost; send it again.";
  });
  request.open("POST", form.action);
  request.send(new FormData(form));
});
