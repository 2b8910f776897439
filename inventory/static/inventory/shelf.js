// Ticks all rows of a page at once. The box for it shows only where this runs. What is done with what is ticked opens
// by itself once something is.
"use strict";

function offerTickAll(root) {
  root.querySelectorAll("input[data-tick-all]").forEach((all) => {
    all.hidden = false;
    all.addEventListener("change", () => {
      all.form.querySelectorAll('input[name="item"]').forEach((each) => {
        each.checked = all.checked;
      });
      openForTicked(all.form);
    });
  });
}

function openForTicked(form) {
  const acts = form.querySelector("details[data-ticked]");
  if (acts && form.querySelector('input[name="item"]:checked')) {
    acts.open = true;
  }
}

offerTickAll(document);
document.addEventListener("change", (event) => {
  if (event.target.matches('input[name="item"]')) {
    openForTicked(event.target.form);
  }
});
document.addEventListener("htmx:load", (event) => offerTickAll(event.detail.elt));
