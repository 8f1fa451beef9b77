// Puts the phone's own clock beside a signature. It is kept as a claim; the
// time at which the server received it is the fact.
document.addEventListener("submit", (event) => {
  for (const field of event.target.querySelectorAll("input[name=device_at]")) {
    field.value = new Date().toISOString();
  }
});
