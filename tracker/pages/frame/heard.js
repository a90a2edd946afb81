// A code that is scanned anywhere leads to what has it; what is no code leads nowhere, and that is said.
import { words } from "./call.js";
import { listen } from "../scanning/scanner.js";
import { sound } from "../scanning/station_sound.js";

const place = document.getElementById("unclear");

function onCode(code, { repeated }) {
  if (!repeated) location.assign(`/search?q=${encodeURIComponent(code)}`);
}

function onUnclear(text, why) {
  place.hidden = false;
  place.querySelector("code").textContent = text.slice(0, 40);
  place.querySelector("span").textContent = words(why);
  sound("look");
}

document.addEventListener("click", () => (place.hidden = true));
listen(onCode, { onUnclear });
