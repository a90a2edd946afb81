/* The choice of the station is kept on the device: the next time it goes straight there, unless a new choice is asked for. */

import "../frame/shell.js";

const KEPT = "station";
const anew = new URLSearchParams(location.search).has("choose");
const links = [...document.querySelectorAll("a.choice")];
const kept = links.find((link) => link.getAttribute("href") === localStorage.getItem(KEPT));

if (kept && !anew) location.replace(kept.href);
for (const link of links) link.addEventListener("click", () => localStorage.setItem(KEPT, link.getAttribute("href")));
