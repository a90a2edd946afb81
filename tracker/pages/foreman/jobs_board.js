// Keeps a list on a page as it is in the shop, without moving what is read: [data-live] names the address of its HTML.
// Each child has a data-key. A child whose HTML is as before stays untouched, so focus, scroll and selection stay; one
// that changed is put in anew, and the focus goes back to the same link. Nothing is kept but the present list.
import { poll } from "../frame/call.js";

const EVERY_MS = 1500;
const LEAF_MS = 20000;

const sources = new WeakMap(); // a child and the HTML that it was made from: what scripts did to it since is no change

function remember(place) {
  for (const child of place.children) sources.set(child, child.outerHTML);
}

function refresh(place, html) {
  const fresh = document.createElement("template");
  fresh.innerHTML = html;
  const held = focused(place);
  const old = new Map([...place.children].map((child) => [child.dataset.key, child]));
  let before = place.firstElementChild;
  for (const child of [...fresh.content.children]) {
    const source = child.outerHTML;
    const present = old.get(child.dataset.key);
    old.delete(child.dataset.key);
    const same = present !== undefined && sources.get(present) === source;
    const wanted = same ? present : child;
    if (!same) sources.set(child, source);
    if (present !== undefined && !same) {
      if (before === present) before = child;
      present.replaceWith(child);
    }
    if (wanted === before) before = before.nextElementSibling;
    else place.insertBefore(wanted, before);
  }
  for (const gone of old.values()) gone.remove();
  if (held !== null) focusAgain(place, held);
}

// Where the focus is within a child: the child's key and which of its links or buttons.
function focused(place) {
  const active = document.activeElement;
  const child = active && place.contains(active) ? active.closest("[data-key]") : null;
  return child === null ? null : { active, key: child.dataset.key, order: controls(child).indexOf(active) };
}

function controls(child) {
  return [...child.querySelectorAll("a, button, input, select, textarea, summary, [tabindex]")];
}

function focusAgain(place, held) {
  if (held.active.isConnected) return;
  const child = [...place.children].find((each) => each.dataset.key === held.key);
  const found = child && controls(child);
  const same = found?.find((each) => each.href !== undefined && each.href === held.active.href);
  (same ?? found?.[held.order])?.focus({ preventScroll: true });
}

function keepLive(place, changed) {
  const show = (data) => {
    refresh(place, data.html);
    changed();
  };
  poll(place.dataset.live, show, { every: EVERY_MS, fresh: true });
}

// The wall: a few rows at a time, the next ones after a while.
function turnLeaves(place) {
  const size = Number(place.dataset.leaf);
  const told = document.getElementById("leaf");
  const button = document.getElementById("turn");
  let leaf = 0;
  const show = (turning) => {
    const rows = [...place.children];
    const leaves = Math.max(1, Math.ceil(rows.length / size));
    leaf %= leaves;
    rows.forEach((row, number) => {
      row.hidden = Math.floor(number / size) !== leaf;
    });
    const says = told.dataset.says.replace("{page}", leaf + 1).replace("{pages}", leaves);
    if (told.textContent !== says) told.textContent = says;
    if (turning) restart(place);
  };
  const stopped = () => button.getAttribute("aria-pressed") === "true";
  button.addEventListener("click", () => button.setAttribute("aria-pressed", String(!stopped())));
  setInterval(() => {
    if (stopped() || place.children.length <= size) return;
    leaf += 1;
    show(true);
  }, LEAF_MS);
  show(false);
  return () => show(false);
}

function restart(place) {
  place.classList.remove("turning");
  void place.offsetWidth; // so that the browser sees the class go and come
  place.classList.add("turning");
}

for (const place of document.querySelectorAll("[data-live]")) {
  remember(place); // before rows are hidden
  keepLive(place, place.dataset.leaf ? turnLeaves(place) : () => {});
}
