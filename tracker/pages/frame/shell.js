// Keeps this page on the device, so that it opens and scans while the server is gone; says so where it cannot.

const SECTION = `/${location.pathname.split("/")[1]}`; // /station or /pack

if (!window.isSecureContext) {
  const line = document.getElementById("insecure");
  if (line) line.hidden = false;
} else if ("serviceWorker" in navigator) {
  keep().catch(() => {}); // a browser that refuses it keeps scanning as long as the page is open
}

// What came before the worker was there, or past it, is handed to it; the rest went through its hands. A worker may take a page over
// that began without it, so that each piece is looked at for itself.
async function keep() {
  await navigator.serviceWorker.register("/service-worker.js", { scope: SECTION });
  const { active } = await navigator.serviceWorker.ready;
  if (document.readyState !== "complete") await new Promise((resolve) => window.addEventListener("load", resolve, { once: true }));
  const loaded = [...performance.getEntriesByType("navigation"), ...performance.getEntriesByType("resource")];
  const past = loaded.filter(({ workerStart }) => !workerStart).map(({ name }) => name);
  const wanted = past.filter((name) => new URL(name).pathname === location.pathname || new URL(name).pathname.startsWith("/static/"));
  if (wanted.length) active.postMessage({ keep: wanted });
}
