/* Codes from the device's camera or a photo: read in the browser where it can, else by the server.
 *
 *   camera(video, {send, onCode, onSay})   → {start, stop}; start() resolves to false where there is no camera
 *   readPhoto(file, {send})                → {code, says}
 *
 * `send` posts a JPEG (a Blob) and resolves to {code, says}, with `isUnread` where nobody looked at it. Pictures are made small first: a
 * label needs no more. A label that stays before the camera is one code; it is told again when it has been away.
 */

import { codeIn } from "./codes.js";

const LONGEST_SIDE = 1600;
const EVERY_MS = 350;
const AWAY_AFTER = 3; // looks without the label: one alone may be a blur
const CODE = /^[A-Z][0-9]{10}$/;
const SSCC = /^(?:\]C1)?\u001d?00[0-9]{18}$/;

const detector = makeDetector();

function makeDetector() {
  try {
    return "BarcodeDetector" in window ? new BarcodeDetector({ formats: ["code_128", "qr_code", "data_matrix"] }) : null;
  } catch {
    return null; // it is named, but this device has none of the formats
  }
}

async function readHere(picture) {
  if (!detector) return null;
  try {
    const codes = new Set((await detector.detect(picture)).map((found) => codeIn(found.rawValue).trim().toUpperCase()));
    const ours = [...codes].filter((code) => CODE.test(code));
    const found = ours.length ? ours : [...codes].filter((code) => SSCC.test(code)); // a box's label carries both
    return found.length === 1 ? found[0] : null;
  } catch {
    return null;
  }
}

function jpegOf(picture, width, height) {
  const scale = Math.min(1, LONGEST_SIDE / Math.max(width, height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.round(width * scale);
  canvas.height = Math.round(height * scale);
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  return new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", 0.85));
}

export async function readPhoto(file, { send }) {
  let picture;
  try {
    picture = await createImageBitmap(file);
  } catch {
    return send(file); // the server says what is wrong with it
  }
  const code = await readHere(picture);
  return code ? { code, says: "" } : send(await jpegOf(picture, picture.width, picture.height));
}

export function camera(video, { send, onCode, onSay }) {
  let stream = null;
  let timer = 0;
  let inView = "";
  let missed = 0;

  async function look() {
    if (!stream) return;
    if (video.videoWidth) {
      const code = await readHere(video);
      const found = code ? { code } : await send(await jpegOf(video, video.videoWidth, video.videoHeight));
      if (stream && !found.isUnread) see(found.code);
      if (stream) onSay(found.code ?? found.says ?? "");
    }
    if (stream) timer = setTimeout(look, EVERY_MS);
  }

  function see(code) {
    missed = code ? 0 : missed + 1;
    if (missed >= AWAY_AFTER) inView = "";
    if (!code || code === inView) return;
    inView = code;
    onCode(code);
  }

  return {
    async start() {
      try {
        stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment", width: { ideal: 1280 } } });
      } catch {
        return false;
      }
      video.srcObject = stream;
      await video.play();
      look();
      return true;
    },
    stop() {
      clearTimeout(timer);
      stream?.getTracks().forEach((track) => track.stop());
      stream = null;
      inView = "";
      video.srcObject = null;
    },
  };
}
