// Says how old the facts on the page are, and keeps saying it while the page
// stays open in somebody's hand.
const words = (minutes) => {
  if (minutes < 1) return "just now";
  if (minutes === 1) return "1 minute ago";
  if (minutes < 120) return `${minutes} minutes ago`;
  return `${Math.floor(minutes / 60)} hours ago`;
};

const ages = [...document.querySelectorAll("time[data-age]")].map((time) => {
  const span = document.createElement("span");
  span.className = "age";
  time.after(span);
  return { at: Date.parse(time.dateTime), span };
});

const tell = () => {
  for (const { at, span } of ages) {
    const minutes = Math.floor((Date.now() - at) / 60000);
    // A phone whose clock is behind the server's says nothing rather than a
    // time in the future.
    span.textContent = minutes >= -1 ? `, ${words(minutes)}` : "";
    span.classList.toggle("old", minutes >= 30);
  }
};

tell();
setInterval(tell, 30000);
