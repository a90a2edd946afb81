// Talking with the service: calls with the session's proof, polling that costs nothing while nothing changes.
// call(path, {method, body}) -> {status, data}; poll(path, onAnswer, {every}); words(key); newId().

const token = document.querySelector('meta[name="csrf-token"]')?.content ?? "";
const texts = JSON.parse(document.getElementById("words")?.textContent || "{}");

export function words(key) {
  return texts[key] ?? key;
}

export function newId() {
  // crypto.randomUUID is absent where the page is not in a secure context
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

export async function call(path, { method = "GET", body, headers = {} } = {}) {
  const isForm = body instanceof FormData || body instanceof Blob;
  const sent = { Accept: "application/json", "X-CSRF-Token": token, ...headers };
  if (body !== undefined && !isForm) sent["Content-Type"] = "application/json";
  const response = await fetch(path, {
    method,
    headers: sent,
    body: body === undefined || isForm ? body : JSON.stringify(body),
    credentials: "same-origin",
    cache: "no-store",
    redirect: "manual",
  });
  if (response.status === 401 || response.type === "opaqueredirect") {
    location.assign(`/sign-in?ended=1&next=${encodeURIComponent(location.pathname + location.search)}`);
    return new Promise(() => {});
  }
  return { status: response.status, data: await read(response), tag: response.headers.get("ETag") };
}

async function read(response) {
  if (response.status === 304 || response.status === 204) return null;
  const kind = response.headers.get("Content-Type") ?? "";
  return kind.includes("json") ? response.json() : response.text();
}

// With `fresh` the page was drawn with what the first answer would bring: it is asked for only when something changed.
export function poll(path, onAnswer, { every = 2000, fresh = false } = {}) {
  let tag = fresh ? `"${document.querySelector('meta[name="change-tag"]')?.content}"` : null;
  let failed = 0;
  let timer = 0;
  let busy = false;

  async function ask() {
    clearTimeout(timer);
    if (busy || document.hidden) return;
    busy = true;
    try {
      const where = typeof path === "function" ? path() : path;
      const answer = await call(where, tag ? { headers: { "If-None-Match": tag } } : {});
      if (answer.status >= 500) throw new Error(String(answer.status));
      failed = 0;
      tell(true);
      if (answer.status === 200) {
        tag = answer.tag;
        onAnswer(answer.data);
      }
    } catch {
      failed += 1;
      tell(failed < 2);
    }
    busy = false;
    timer = setTimeout(ask, every * Math.min(2 ** Math.max(0, failed - 1), 8));
  }

  document.addEventListener("visibilitychange", ask);
  timer = setTimeout(ask, every);
  return ask;
}

export function tell(isConnected) {
  const line = document.getElementById("connection");
  if (line) line.hidden = isConnected;
}
