// Keeps this page on the device, so that it opens and scans while the server is gone; says so where it cannot.

const SECTION = `/${location.pathname.split("/")[1]}`; // /station or /pack

if (!window.isSecureContext) {
  const line = document.getElementById("insecure");
  if (line) line.hidden = false;
} else if ("serviceWorker" in navigator) {
  keep().catch(() => {}); // a browser that refuses it keeps scanning as long as the page is open
}

async function keep() {
  const isKept = Boolean(navigator.serviceWorker.controller); // then all that was loaded went through it
  await navigator.serviceWorker.register("/service-worker.js", { scope: SECTION });
  if (isKept) return;
  const { active } = await navigator.serviceWorker.ready;
  const loaded = performance.getEntriesByType("resource").map((each) => each.name);
  active.postMessage({ keep: [location.href, ...loaded.filter((name) => new URL(name).pathname.startsWith("/static/"))] });
}
