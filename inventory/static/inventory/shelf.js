// Ticks all rows of a page at once. The box for it shows only where this runs.
"use strict";

function offerTickAll(root) {
  root.querySelectorAll("input[data-tick-all]").forEach((all) => {
    all.hidden = false;
    all.addEventListener("change", () => {
      all.form.querySelectorAll('input[name="item"]').forEach((each) => {
        each.checked = all.checked;
      });
    });
  });
}

offerTickAll(document);
document.addEventListener("htmx:load", (event) => offerTickAll(event.detail.elt));
