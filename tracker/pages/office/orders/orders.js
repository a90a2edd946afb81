// Typed cabinets: a row is added in place, offers only what its family takes, and shows the cabinet as it is typed.
const rows = document.getElementById("rows");
const choices = JSON.parse(document.getElementById("choices")?.textContent || "{}");
const DRAWN = ["family", "width", "height", "depth", "fronts", "hinge"];

const input = (row, name) => row.querySelector(`[name$="-${name}"]`);

// Of a select only those options that fit; what was chosen and no longer fits gives way to the first that does.
function offer(select, fitting) {
  if (!select.all) select.all = [...select.options];
  const given = select.value;
  const left = select.all.filter((option) => !fitting || fitting.includes(option.value));
  select.replaceChildren(...left);
  select.value = left.some((option) => option.value === given) ? given : left[0]?.value ?? "";
  select.disabled = false;
}

function fit(row) {
  const fronts = choices[input(row, "family").value];
  offer(input(row, "fronts"), fronts && Object.keys(fronts));
  offer(input(row, "hinge"), fronts?.[input(row, "fronts").value]);
}

function draw(row) {
  const place = row.querySelector(".drawn");
  const given = new URLSearchParams(DRAWN.map((name) => [name, input(row, name).value]));
  const whole = ["family", "width", "height", "depth"].every((name) => given.get(name));
  if (!whole) {
    row.drawn = "";
    place.replaceChildren();
    return;
  }
  given.set("units", document.getElementById("units").value);
  given.set("standard", document.getElementById("standard")?.value ?? "");
  const address = `/orders/drawing.svg?${given}`;
  if (row.drawn !== address) show(place, address);
  row.drawn = address;
}

// A cabinet that cannot be built has no drawing; the preview says why.
function show(place, address) {
  const image = new Image();
  image.alt = "";
  image.addEventListener("load", () => place.replaceChildren(image), { once: true });
  image.addEventListener("error", () => place.replaceChildren(), { once: true });
  image.src = address;
}

function watch(row) {
  let waiting = 0;
  row.addEventListener("change", (event) => {
    if (event.target.tagName === "SELECT") fit(row);
    clearTimeout(waiting);
    waiting = setTimeout(() => draw(row), 250);
  });
  if (input(row, "family").value) fit(row);
  draw(row);
}

// The number after a cabinet's: 101 is followed by 102; what ends in no digit is left open.
function following(number) {
  const digits = /^(.*?)(\d{1,9})$/.exec(number);
  return digits ? digits[1] + String(Number(digits[2]) + 1).padStart(digits[2].length, "0") : "";
}

function add() {
  const last = rows.lastElementChild;
  const number = rows.childElementCount;
  const row = document.getElementById("one-row").content.firstElementChild.cloneNode(true);
  row.dataset.row = number;
  row.querySelector(".count").textContent = number + 1;
  for (const each of row.querySelectorAll("[id]")) each.id = each.id.replace("row--", `row-${number}-`);
  for (const each of row.querySelectorAll("[name]")) each.name = each.name.replace("row--", `row-${number}-`);
  for (const each of row.querySelectorAll("[for]")) each.htmlFor = each.htmlFor.replace("row--", `row-${number}-`);
  if (last && input(last, "family").value) {
    for (const name of ["family", "height", "depth", "finish"]) input(row, name).value = input(last, name).value;
    input(row, "cabinet").value = following(input(last, "cabinet").value);
  }
  rows.append(row);
  watch(row);
  input(row, "cabinet").value ? input(row, "width").focus() : input(row, "cabinet").focus();
}

if (rows) {
  for (const row of rows.children) watch(row);
  document.getElementById("units").addEventListener("change", () => [...rows.children].forEach(draw));
  document.getElementById("more").addEventListener("click", (event) => {
    event.preventDefault();
    if (rows.childElementCount < 100) add();
  });
}
