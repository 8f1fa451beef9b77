// Lets a person ask that this phone be told at once. Without script, or where
// the browser knows no push messages, the page says nothing of it.
const box = document.querySelector("[data-tell]");
if (box && "serviceWorker" in navigator && "PushManager" in window && "Notification" in window) start(box);

async function start(box) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "plain";
  box.prepend(button);
  const says = box.querySelector("[role=status]");
  const worker = await navigator.serviceWorker.register("/told.js");
  const show = (subscription) => {
    button.textContent = subscription ? box.dataset.end : box.dataset.ask;
    button.setAttribute("aria-pressed", subscription ? "true" : "false");
  };
  let subscription = await worker.pushManager.getSubscription();
  show(subscription);
  box.hidden = false;
  button.addEventListener("click", async () => {
    button.disabled = true;
    says.textContent = "";
    try {
      subscription = subscription ? await end(subscription) : await ask(worker);
      show(subscription);
      says.textContent = subscription ? box.dataset.asked : box.dataset.ended;
    } catch (error) {
      says.textContent = `${box.dataset.failed} (${error.message})`;
    }
    button.disabled = false;
  });
}

async function ask(worker) {
  const { public_key: key } = await json("POST");
  await navigator.serviceWorker.ready;
  const subscription = await worker.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: key });
  const { endpoint, keys } = subscription.toJSON();
  try {
    await json("PUT", { endpoint, p256dh: keys.p256dh, auth: keys.auth });
  } catch (error) {
    await subscription.unsubscribe();
    throw error;
  }
  return subscription;
}

async function end(subscription) {
  await json("DELETE", undefined, `?endpoint=${encodeURIComponent(subscription.endpoint)}`);
  await subscription.unsubscribe();
  return null;
}

async function json(method, body, query = "") {
  const headers = { Accept: "application/json", "Idempotency-Key": crypto.randomUUID() };
  if (body) headers["Content-Type"] = "application/json";
  const answer = await fetch(`/api/v1/push${query}`, { method, headers, body: body && JSON.stringify(body) });
  if (!answer.ok) throw new Error((await answer.json().catch(() => ({}))).detail ?? answer.statusText);
  return answer.status === 204 ? null : answer.json();
}
