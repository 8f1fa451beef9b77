// A form is sent once. The server knows repeats by their key anyway; this only
// spares a cold finger the doubt whether the first press counted.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  const button = event.submitter ?? form.querySelector("button");
  if (button) {
    button.dataset.words = button.textContent;
    button.textContent = `${button.textContent}: sending`;
  }
});

// A page that comes back from the browser's memory may be sent again.
window.addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) {
    delete form.dataset.sent;
    for (const button of form.querySelectorAll("button[data-words]")) {
      button.textContent = button.dataset.words;
      delete button.dataset.words;
    }
  }
});
