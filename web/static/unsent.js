// What is answered in one form and not sent yet outlives another form of the same
// page: whoever signs on the lead's phone reloads it. Only answers that somebody
// changed here are put back, in this tab, for a quarter of an hour; never a PIN.
// Without this script the other form's answers are given again.
const keeps = 15 * 60 * 1000;

for (const form of document.querySelectorAll("form[data-unsent]")) {
  const about = form.querySelector("input[name=assessment]")?.value ?? "";
  const place = `unsent ${form.getAttribute("action")} ${about}`;
  let typed = {};
  try {
    const was = JSON.parse(sessionStorage.getItem(place) ?? "{}");
    if (Date.now() - was.at < keeps) typed = was.typed;
  } catch {
    // A browser that keeps nothing gives nothing back.
  }
  for (const input of form.elements) {
    if (!Object.hasOwn(typed, input.name)) continue;
    if (input.type === "radio") input.checked = input.value === typed[input.name];
    else if (input.type === "text") input.value = typed[input.name];
  }
  form.addEventListener("change", ({ target }) => {
    if (!target.name || (target.type !== "radio" && target.type !== "text")) return;
    typed[target.name] = target.value;
    try {
      sessionStorage.setItem(place, JSON.stringify({ at: Date.now(), typed }));
    } catch {
      // As above.
    }
  });
  form.addEventListener("submit", () => {
    try {
      sessionStorage.removeItem(place);
    } catch {
      // As above.
    }
  });
}
