// The office's pages: lines of a text that can be gone to.

// Where a page says what is wrong, the reader is led there.
document.querySelector('[role="alert"]')?.scrollIntoView({ block: "nearest" });

for (const link of document.querySelectorAll("a[data-line]")) {
  link.addEventListener("click", (event) => {
    const text = document.querySelector(link.hash);
    if (!(text instanceof HTMLTextAreaElement)) return;
    event.preventDefault();
    const line = Number(link.dataset.line);
    const lines = text.value.split("\n");
    const start = lines.slice(0, line - 1).join("\n").length + (line > 1 ? 1 : 0);
    text.focus();
    text.setSelectionRange(start, start + (lines[line - 1] ?? "").length);
    text.scrollTop = (text.scrollHeight / lines.length) * Math.max(0, line - 3);
  });
}

// What is chosen of a list with boxes to tick, counted and weighed beside the button.
const chosen = document.getElementById("chosen");
if (chosen) {
  const ticks = [...document.querySelectorAll("input[data-kg]")];
  const tell = () => {
    const taken = ticks.filter((tick) => tick.checked);
    chosen.querySelector(".count").textContent = taken.length;
    const mass = taken.reduce((sum, tick) => sum + Number(tick.dataset.kg), 0);
    chosen.querySelector(".kg").textContent = (mass * Number(chosen.dataset.factor)).toFixed(0);
    for (const line of document.querySelectorAll("[data-stays]")) {
      const own = ticks.filter((tick) => tick.dataset.job === line.dataset.stays);
      const left = own.filter((tick) => !tick.checked).map((tick) => tick.dataset.name);
      if (line.dataset.also) left.push(line.dataset.also);
      line.hidden = !left.length || own.every((tick) => !tick.checked);
      line.textContent = line.hidden ? "" : line.dataset.says.replace("{boxes}", left.join(", "));
    }
  };
  for (const tick of ticks) tick.addEventListener("change", tell);
  for (const all of document.querySelectorAll("button[data-all]")) {
    all.hidden = false;
    all.addEventListener("click", () => {
      const group = ticks.filter((tick) => tick.dataset.job === all.dataset.all);
      const on = group.some((tick) => !tick.checked);
      for (const tick of group) tick.checked = on;
      tell();
    });
  }
  tell();
}
