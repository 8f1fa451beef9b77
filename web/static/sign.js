// A place to draw a signature, beside the PIN. The strokes go into a hidden field
// as an SVG path of whole places, 600 wide and 200 high; without this script the
// PIN alone signs, and the page says so.
const wide = 600;
const high = 200;
const most = 800; // points, so that the path stays under its limit of letters

for (const pad of document.querySelectorAll("[data-pad]")) {
  const canvas = pad.querySelector("canvas");
  const field = pad.closest("form").querySelector("input[name=drawing]");
  const pen = canvas.getContext("2d");
  let last = null;
  let points = 0;

  const place = (event) => {
    const box = canvas.getBoundingClientRect();
    const within = (n, end) => Math.min(end - 1, Math.max(0, Math.round(n)));
    return [within(((event.clientX - box.left) / box.width) * wide, wide), within(((event.clientY - box.top) / box.height) * high, high)];
  };
  const begin = (event) => {
    if (points >= most) return;
    event.preventDefault();
    canvas.setPointerCapture(event.pointerId);
    last = place(event);
    field.value += `M${last[0]} ${last[1]}`;
    points += 1;
  };
  const draw = (event) => {
    if (!last || points >= most) return;
    const next = place(event);
    if (Math.hypot(next[0] - last[0], next[1] - last[1]) < 4) return;
    field.value += `L${next[0]} ${next[1]}`;
    points += 1;
    pen.beginPath();
    pen.moveTo(...last);
    pen.lineTo(...next);
    pen.stroke();
    last = next;
  };
  const end = () => { last = null; };
  const clear = () => {
    pen.clearRect(0, 0, wide, high);
    field.value = "";
    points = 0;
    last = null;
  };

  // What was drawn before a refused PIN stands in the field, and is shown again.
  const again = () => {
    for (const stroke of field.value.split("M").slice(1)) {
      const places = stroke.split("L").map((at) => at.split(" ").map(Number));
      points += places.length;
      pen.beginPath();
      pen.moveTo(...places[0]);
      for (const at of places.slice(1)) pen.lineTo(...at);
      pen.stroke();
    }
  };

  pen.lineWidth = 5;
  pen.lineCap = "round";
  pen.strokeStyle = getComputedStyle(canvas).color;
  again();
  canvas.addEventListener("pointerdown", begin);
  canvas.addEventListener("pointermove", draw);
  for (const name of ["pointerup", "pointercancel", "lostpointercapture"]) canvas.addEventListener(name, end);

  const anew = document.createElement("button");
  anew.type = "button";
  anew.className = "other";
  anew.textContent = "Draw it again";
  anew.addEventListener("click", clear);
  pad.append(anew);
  pad.hidden = false;
  const without = pad.parentElement.querySelector("[data-no-pad]");
  if (without) without.hidden = true;
}
