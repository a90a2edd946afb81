// A layout is drawn as it is typed: the picture beside the text, or what is wrong and on which line.
import { words } from "../../frame/call.js";

const text = document.getElementById("text");
const canvas = document.getElementById("preview");
const wrongs = document.getElementById("wrongs");
const token = document.querySelector('meta[name="csrf-token"]').content;
let waiting = 0;
let asked = 0;

async function draw() {
  asked += 1;
  const own = asked;
  const body = new FormData();
  body.set("text", text.value);
  const answer = await fetch("/labels/layouts/preview.png", { method: "POST", headers: { "X-CSRF-Token": token }, body });
  if (own !== asked) return;
  const drawn = answer.headers.get("Content-Type") === "image/png";
  if (drawn) {
    await paint(await answer.blob());
    const letters = JSON.parse(answer.headers.get("X-Lacking"));
    say(letters ? [words("lacks", { letters })] : []);
  } else if (answer.ok) {
    const told = await answer.json();
    say([told.detail, ...told.wrong.map((each) => [each.line, each.field, each.what].filter(Boolean).join(": "))]);
  }
  text.setAttribute("aria-invalid", String(!drawn));
}

async function paint(blob) {
  const image = await createImageBitmap(blob);
  canvas.width = image.width;
  canvas.height = image.height;
  canvas.getContext("2d").drawImage(image, 0, 0);
}

function say(sentences) {
  wrongs.replaceChildren(
    ...sentences.map((sentence) => {
      const line = document.createElement("p");
      line.className = "wrong";
      line.textContent = sentence;
      return line;
    }),
  );
}

text.addEventListener("input", () => {
  clearTimeout(waiting);
  waiting = setTimeout(() => draw().catch(() => {}), 300);
});
draw().catch(() => {});
