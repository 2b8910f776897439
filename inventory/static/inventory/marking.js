// Shows a chosen photograph and lets two rectangles be drawn on it; the fields that hold them can be typed as well.

const FIELDS = ["card", "thread"];

function marker(input) {
  const form = input.form;
  const canvas = document.createElement("canvas");
  const words = document.createElement("p");
  const called = { card: input.dataset.sayNameCard, thread: input.dataset.sayNameThread };
  const regions = {};
  let picture = null;
  let start = null;
  canvas.className = "marking";
  canvas.setAttribute("aria-hidden", "true");
  words.className = "small";
  words.setAttribute("role", "status");

  const field = (name) => form.elements[name];
  const asked = () => FIELDS.find((name) => !regions[name]) ?? null;

  function say() {
    const name = asked();
    const { sayCard, sayThread, sayBoth } = input.dataset;
    words.textContent = name ? { card: sayCard, thread: sayThread }[name] : sayBoth;
  }

  function draw(extra) {
    const context = canvas.getContext("2d");
    context.drawImage(picture, 0, 0, canvas.width, canvas.height);
    for (const [name, [left, top, width, height]] of Object.entries({ ...regions, ...extra })) {
      context.lineWidth = 3;
      context.strokeStyle = "#fff";
      context.strokeRect(left * canvas.width, top * canvas.height, width * canvas.width, height * canvas.height);
      context.lineWidth = 1;
      context.strokeStyle = "#000";
      context.strokeRect(left * canvas.width, top * canvas.height, width * canvas.width, height * canvas.height);
      context.font = "16px sans-serif";
      context.fillStyle = "#fff";
      context.fillText(called[name], left * canvas.width + 6, top * canvas.height + 20);
    }
  }

  function place(event) {
    const box = canvas.getBoundingClientRect();
    const share = (value, from, length) => Math.min(1, Math.max(0, (value - from) / length));
    return [share(event.clientX, box.left, box.width), share(event.clientY, box.top, box.height)];
  }

  function region(one, other) {
    const left = Math.min(one[0], other[0]);
    const top = Math.min(one[1], other[1]);
    return [left, top, Math.abs(one[0] - other[0]), Math.abs(one[1] - other[1])];
  }

  canvas.addEventListener("pointerdown", (event) => {
    if (!asked()) FIELDS.forEach((name) => delete regions[name]);
    start = place(event);
    canvas.setPointerCapture(event.pointerId);
  });
  canvas.addEventListener("pointermove", (event) => {
    if (start) draw({ [asked()]: region(start, place(event)) });
  });
  canvas.addEventListener("pointerup", (event) => {
    if (!start) return;
    const name = asked();
    const found = region(start, place(event));
    start = null;
    if (found[2] > 0.005 && found[3] > 0.005) {
      regions[name] = found;
      field(name).value = found.map((share) => (100 * share).toFixed(1)).join(", ");
    }
    draw({});
    say();
  });

  input.addEventListener("change", async () => {
    const file = input.files[0];
    if (!file) return;
    try {
      picture = await createImageBitmap(file);
    } catch {
      words.textContent = input.dataset.sayCannot;
      input.after(words);
      return;
    }
    FIELDS.forEach((name) => delete regions[name]);
    canvas.width = Math.min(900, picture.width);
    canvas.height = Math.round((canvas.width * picture.height) / picture.width);
    input.after(canvas, words);
    draw({});
    say();
  });
}

document.querySelectorAll("input[data-mark]").forEach(marker);
