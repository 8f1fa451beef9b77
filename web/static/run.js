// Keeps the page of a run current: asks for the same page again and puts the
// part that changes in its place. When the run has ended the page itself is
// opened, which leads on to what came of it.
const every = 1000;

const look = async () => {
  const here = document.getElementById("run");
  if (!here) return;
  try {
    const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
    if (answer.redirected) {
      location.replace(answer.url);
      return;
    }
    if (answer.ok) {
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const now = page.getElementById("run");
      if (!now || !("live" in now.dataset)) {
        location.reload();
        return;
      }
      here.replaceWith(document.adoptNode(now));
    }
  } catch {
    // No connection: the words stand until there is one.
  }
  setTimeout(look, every);
};

setTimeout(look, every);
