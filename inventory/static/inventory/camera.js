// Reads a label's code with the camera, in browsers that can detect codes; the button stays hidden in the others.

const FORMATS = ["qr_code", "code_128", "code_39", "ean_13"];

let detector = null;

async function canRead() {
  if (!("BarcodeDetector" in window) || !navigator.mediaDevices?.getUserMedia) return false;
  const known = await BarcodeDetector.getSupportedFormats();
  const formats = FORMATS.filter((format) => known.includes(format));
  if (!formats.length) return false;
  detector = new BarcodeDetector({ formats });
  return true;
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

async function read(event) {
  const said = event.currentTarget.dataset;
  const { dialog, video, words } = sheet(said);
  let stream = null;
  dialog.addEventListener("close", () => {
    stream?.getTracks().forEach((track) => track.stop());
    dialog.remove();
    document.getElementById("scan-code")?.focus();
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
  const look = async () => {
    if (!dialog.open) return;
    // A frame that cannot be read is no reason to stop looking at the next one.
    const [found] = await detector.detect(video).catch(() => []);
    if (!found) {
      setTimeout(look, 150);
      return;
    }
    dialog.close();
    const field = document.getElementById("scan-code");
    if (!field) return;
    field.value = found.rawValue;
    field.form.requestSubmit();
  };
  look();
}

function offer(root) {
  root.querySelectorAll("button[data-camera]").forEach((button) => {
    button.hidden = false;
    button.addEventListener("click", read);
  });
}

if (await canRead()) {
  offer(document);
  document.addEventListener("htmx:load", (event) => offer(event.detail.elt));
}
