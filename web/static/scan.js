// A serial number may be read off its label with the phone's camera where the
// browser can (Shape Detection API, BarcodeDetector). Typing always works, and
// what was read stands in the field to be looked at before it is sent.
const say = (place, words) => { place.textContent = words; };

const read = async (file, field, told) => {
  say(told, "Reading the code.");
  try {
    const codes = await new BarcodeDetector().detect(await createImageBitmap(file));
    const found = [...new Set(codes.map((c) => c.rawValue.trim()).filter((v) => v !== ""))];
    if (found.length === 1) {
      field.value = found[0].toUpperCase();
      say(told, `Read: ${field.value}. Compare it with the label, then note the place.`);
      field.focus();
      return;
    }
    say(told, found.length === 0 ? "No code was read. Go nearer, or type it." : `${found.length} codes were read: ${found.join(", ")}. Take only one into the picture, or type it.`);
  } catch {
    say(told, "The picture could not be read. Try again, or type it.");
  }
};

const offer = (place) => {
  const field = document.getElementById(place.dataset.scan);
  const button = document.createElement("button"), camera = document.createElement("input"), told = document.createElement("span");
  button.type = "button";
  button.className = "other";
  say(button, "Scan the label");
  camera.type = "file";
  camera.accept = "image/*";
  camera.hidden = true;
  camera.setAttribute("capture", "environment");
  camera.setAttribute("aria-label", "Picture of the label");
  told.setAttribute("role", "status");
  button.addEventListener("click", () => camera.click());
  camera.addEventListener("change", () => {
    if (camera.files[0]) read(camera.files[0], field, told);
    camera.value = ""; // the picture is not sent, and the same one may be taken again
  });
  place.append(button, camera, " ", told);
  place.hidden = false;
};

if ("BarcodeDetector" in window) {
  document.querySelectorAll("[data-scan]").forEach(offer);
}
