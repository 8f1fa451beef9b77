// After a form was refused, the list of what to put right is read first.
document.querySelector(".faults")?.focus();

// An address that points into a folded part opens it.
const unfold = () => {
  let part = location.hash.length > 1 ? document.getElementById(decodeURIComponent(location.hash.slice(1))) : null;
  for (; part; part = part.parentElement) {
    if (part.tagName === "DETAILS") part.open = true;
  }
};
window.addEventListener("hashchange", unfold);
unfold();
