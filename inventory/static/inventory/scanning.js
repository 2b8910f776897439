// All that takes codes, on every page: a scanner that types, the camera, a code that holds an address.
// A scanner types faster than anybody and ends with Enter. It is heard wherever the focus is. The first code of a
// burst acts at once; those that came with it wait in sight, also on the next page, until somebody turns to them.

// So far apart are two signs of a scanner at most, so long is it silent after a burst, so short is no code: common
// practice, no source.
const QUICK_MS = 50;
const SILENCE_MS = 90;
const SHORTEST = 4;
const MOST_WAITING = 20;
const SCANNED = "scanned";
const FORMATS = ["qr_code", "code_128", "code_39", "ean_13"];
const NO_TEXT = ["button", "checkbox", "color", "file", "image", "radio", "range", "reset", "submit"];

let burst = [];
let silence = null;
let released = null;
let heard = "";
let heardAt = 0;
const typing = new WeakMap();

function takesText(element) {
  if (!(element instanceof HTMLElement)) return false;
  if (element.isContentEditable) return true;
  return element.matches("textarea, select") || (element.matches("input") && !NO_TEXT.includes(element.type));
}

// The field of this page that takes codes: its own where it has one in sight, else the search in the header.
function target() {
  const own = [...document.querySelectorAll("main [data-scan]")].find((each) => each.checkVisibility());
  return own || document.getElementById("find");
}

function waiting() {
  try {
    return JSON.parse(sessionStorage.getItem(SCANNED)) || [];
  } catch {
    return [];
  }
}

function keepWaiting(codes) {
  sessionStorage.setItem(SCANNED, JSON.stringify([...new Set(codes)].slice(-MOST_WAITING)));
  showWaiting();
}

function showWaiting() {
  const box = document.querySelector("[data-scanned]");
  if (!box) return;
  const codes = waiting();
  box.hidden = !codes.length;
  box.querySelector("ul").replaceChildren(
    ...codes.map((code) => {
      const item = document.createElement("li");
      const button = document.createElement("button");
      button.type = "button";
      button.className = "button button-small";
      button.textContent = code;
      button.addEventListener("click", () => {
        keepWaiting(waiting().filter((each) => each !== code));
        const into = target();
        into.focus();
        act({ code });
      });
      item.append(button);
      return item;
    }),
  );
}

function act({ code, field, submitter }) {
  const into = field?.isConnected ? field : target();
  if (!into?.form) return;
  if (into !== field) {
    // What was typed beside the code was meant for another thing.
    for (const each of into.form.elements) {
      if (each !== into && each.matches("input:not([type=hidden])") && takesText(each)) each.value = "";
    }
  }
  into.value = code;
  // As Enter does, which presses the first button that sends.
  const first = [...into.form.elements].find((each) => each.type === "submit");
  released = into.form;
  into.form.requestSubmit(submitter?.isConnected ? submitter : (first ?? null));
  released = null;
}

function settleBurst() {
  const [first, ...more] = burst;
  burst = [];
  const others = more.map((each) => each.code).filter((code) => code !== first.code);
  if (others.length) keepWaiting([...waiting(), ...others]);
  // At the machine nothing leads away from the sheet unasked.
  if (!first.field && document.querySelector("[data-keeps-scans]") && target().id === "find") {
    keepWaiting([...waiting(), first.code]);
  } else act(first);
}

function hold(scanned) {
  burst.push(scanned);
  goOn();
}

function goOn() {
  clearTimeout(silence);
  silence = setTimeout(settleBurst, SILENCE_MS);
}

function cameQuickly(field) {
  const seen = typing.get(field);
  const signs = field.value.trim().length;
  return seen && signs >= SHORTEST && (seen.last - seen.first) / signs <= QUICK_MS;
}

document.addEventListener(
  "input",
  (event) => {
    const field = event.target;
    if (!("scan" in field.dataset)) return;
    const seen = typing.get(field);
    const first = seen && field.value.length > 1 ? seen.first : event.timeStamp;
    typing.set(field, { first, last: event.timeStamp });
    if (burst.length) goOn();
  },
  true,
);

window.addEventListener(
  "submit",
  (event) => {
    const form = event.target;
    const field = document.activeElement;
    if (form === released || field?.form !== form || !("scan" in field.dataset)) return;
    // An Enter alone between two codes says nothing.
    const isEmpty = burst.length && !field.value.trim();
    if (!isEmpty && !cameQuickly(field)) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    if (isEmpty) return;
    hold({ code: field.value.trim(), field, submitter: event.submitter });
    field.value = "";
    typing.delete(field);
  },
  true,
);

window.addEventListener(
  "keydown",
  (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing || takesText(event.target)) return;
    const isQuick = event.timeStamp - heardAt <= QUICK_MS;
    if (event.key.length === 1) {
      const goesOn = heard && isQuick;
      heard = goesOn ? heard + event.key : event.key;
      heardAt = event.timeStamp;
      // A sign of a code presses no button, and leads to no other field.
      if (goesOn) {
        event.preventDefault();
        event.stopImmediatePropagation();
      }
      if (burst.length) goOn();
    } else if (/^Enter$/.test(event.key)) {
      if (heard.length >= SHORTEST && isQuick) {
        event.preventDefault();
        event.stopImmediatePropagation();
        hold({ code: heard });
      }
      heard = "";
    }
  },
  true,
);

document.addEventListener("click", (event) => {
  if (event.target.closest("[data-scanned-drop]")) {
    keepWaiting([]);
    document.getElementById("content").focus();
  }
  const camera = event.target.closest("button[data-camera]");
  if (camera) readWithCamera(camera.form.querySelector("[data-scan]"), camera.dataset);
});

showWaiting();

// The camera, in browsers that detect codes.

let detector = null;

// Returns what there is: the camera, or why there is none.
async function reads() {
  if (!window.isSecureContext) return "address";
  if (!("BarcodeDetector" in window) || !navigator.mediaDevices?.getUserMedia) return "browser";
  const known = await BarcodeDetector.getSupportedFormats();
  const formats = FORMATS.filter((format) => known.includes(format));
  if (!formats.length) return "browser";
  detector = new BarcodeDetector({ formats });
  return "camera";
}

function sheet(said) {
  const dialog = document.createElement("dialog");
  dialog.className = "camera";
  dialog.setAttribute("aria-label", said.sayCamera);
  const video = document.createElement("video");
  video.muted = true;
  video.playsInline = true;
  const words = document.createElement("p");
  words.setAttribute("role", "status");
  words.textContent = said.sayHold;
  const close = document.createElement("button");
  close.className = "button";
  close.type = "button";
  close.textContent = said.sayClose;
  close.addEventListener("click", () => dialog.close());
  dialog.append(words, video, close);
  document.body.append(dialog);
  return { dialog, video, words };
}

async function readWithCamera(field, said) {
  const { dialog, video, words } = sheet(said);
  let stream = null;
  dialog.addEventListener("close", () => {
    stream?.getTracks().forEach((track) => track.stop());
    dialog.remove();
    (field?.isConnected ? field : target()).focus();
  });
  dialog.showModal();
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  } catch {
    words.textContent = said.sayRefused;
    return;
  }
  if (!dialog.open) {
    stream.getTracks().forEach((track) => track.stop());
    return;
  }
  video.srcObject = stream;
  await video.play();
  const again = async () => {
    if (!dialog.open) return;
    // A frame that cannot be read is no reason to stop looking at the next one.
    const [found] = await detector.detect(video).catch(() => []);
    if (!found) {
      setTimeout(again, 150);
      return;
    }
    dialog.close();
    act({ code: found.rawValue, field });
  };
  again();
}

document.documentElement.dataset.codes = await reads();
