// Talking with the service: calls with the session's proof, polling that costs nothing while nothing changes.
// call(path, {method, body, within}) -> {status, data, tag}; poll(path, onAnswer, {every}); words(key, {name: value}); newId();
// stayWhenSignedOut(onChange) for a page that goes on without a session.

const ANSWERED_MS = 5000; // then the service is taken as away: a dead network keeps a call for minutes

const LANGUAGE = { "X-Page-Language": document.documentElement.lang }; // somebody may have chosen another since the page came

let token = document.querySelector('meta[name="csrf-token"]')?.content ?? "";
let onSignedOut = leave;
const texts = Object.assign({}, ...[...document.querySelectorAll("script.words")].map((each) => JSON.parse(each.textContent)));

export function words(key, named = {}) {
  return (texts[key] ?? key).replace(/\{(\w+)\}/g, (place, name) => named[name] ?? place);
}

export function newId() {
  // crypto.randomUUID is absent where the page is not in a secure context
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

// Throws where no answer came in time. Without a session the page is left for the sign-in, unless it stays.
export async function call(path, options = {}) {
  const answer = await attempt(path, options);
  if (answer.status === 403 && options.method && (await renew())) return attempt(path, options);
  return answer;
}

async function attempt(path, { method = "GET", body, headers = {}, within = ANSWERED_MS }) {
  const isForm = body instanceof FormData || body instanceof Blob;
  const sent = { Accept: "application/json", "X-CSRF-Token": token, ...LANGUAGE, ...headers };
  if (body !== undefined && !isForm) sent["Content-Type"] = "application/json";
  const response = await fetch(path, {
    method,
    headers: sent,
    body: body === undefined || isForm ? body : JSON.stringify(body),
    credentials: "same-origin",
    cache: "no-store",
    redirect: "manual",
    signal: AbortSignal.timeout(within),
  });
  const isOut = response.status === 401 || response.type === "opaqueredirect";
  if (isOut || response.status < 400) await onSignedOut(isOut);
  if (isOut) return { status: 401, data: null, tag: null };
  return { status: response.status, data: await read(response), tag: response.headers.get("ETag") };
}

async function read(response) {
  if (response.status === 304 || response.status === 204) return null;
  const kind = response.headers.get("Content-Type") ?? "";
  return kind.includes("json") ? response.json() : response.text();
}

// Whoever signs in in another tab, or after the server was gone, gets a new proof: take it from this page as it is now.
async function renew() {
  const before = token;
  const answer = await fetch(location.href, { headers: LANGUAGE, redirect: "manual", signal: AbortSignal.timeout(ANSWERED_MS) });
  if (!answer.ok) return false;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  token = fresh.querySelector('meta[name="csrf-token"]')?.content ?? token;
  const who = document.getElementById("who");
  const freshly = fresh.getElementById("who");
  if (who && freshly) {
    who.textContent = freshly.textContent;
    who.dataset.by = freshly.dataset.by ?? "";
  }
  return token !== before;
}

function leave(isOut) {
  if (!isOut) return null;
  location.assign(`/sign-in?ended=1&next=${encodeURIComponent(location.pathname + location.search)}`);
  return new Promise(() => {});
}

export function stayWhenSignedOut(onChange) {
  onSignedOut = onChange;
}

// With `fresh` the page was drawn with what the first answer would bring: it is asked for only when something changed.
// An answer of which onAnswer returns false was not taken, and is asked for again.
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
      if (![200, 304, 401].includes(answer.status)) throw new Error(String(answer.status));
      failed = 0;
      tell(true);
      if (answer.status === 200 && onAnswer(answer.data) !== false) tag = answer.tag;
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
