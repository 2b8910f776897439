// Brings what is on show to what has been drawn anew, leaving every element where it is that is still there: a
// button under a finger stays that button, a field keeps what was typed into it, and the focus stays where it was.
"use strict";

const KEPT = { DETAILS: ["open"], BUTTON: ["disabled"] };

function keyOf(node) {
  return node.nodeType === Node.ELEMENT_NODE ? node.id || node.dataset.key || "" : "";
}

function isSame(one, other) {
  return one.nodeName === other.nodeName && keyOf(one) === keyOf(other);
}

function morphAttributes(old, fresh) {
  const kept = KEPT[old.nodeName] || [];
  for (const { name, value } of [...fresh.attributes]) {
    if (!kept.includes(name) && old.getAttribute(name) !== value) old.setAttribute(name, value);
  }
  for (const { name } of [...old.attributes]) {
    if (!kept.includes(name) && !fresh.hasAttribute(name)) old.removeAttribute(name);
  }
  // A hidden field holds what the sheet says; one that shows holds what a person put there.
  if (old.nodeName === "INPUT" && old.type === "hidden") old.value = fresh.value;
}

// The node that ``child`` is drawn anew, from ``at`` on. Text is only ever the very next one; and no element is looked
// for beyond one whose key is still on the sheet, for what is passed over goes.
function standing(at, child, keys) {
  if (child.nodeType !== Node.ELEMENT_NODE) return at && isSame(at, child) ? at : null;
  for (let each = at; each; each = each.nextSibling) {
    if (isSame(each, child)) return each;
    if (keys.has(keyOf(each))) return null;
  }
  return null;
}

function morphChildren(old, fresh) {
  const keys = new Set([...fresh.childNodes].map(keyOf).filter(Boolean));
  let at = old.firstChild;
  for (const child of [...fresh.childNodes]) {
    const found = standing(at, child, keys);
    if (!found) {
      old.insertBefore(child, at);
      continue;
    }
    // Nothing is moved: what stands before the one that was found is not on the sheet any more.
    while (at !== found) {
      const gone = at;
      at = at.nextSibling;
      gone.remove();
    }
    at = found.nextSibling;
    morph(found, child);
  }
  while (at) {
    const gone = at;
    at = at.nextSibling;
    gone.remove();
  }
}

function morph(old, fresh) {
  if (old.nodeType !== Node.ELEMENT_NODE) {
    if (old.data !== fresh.data) old.data = fresh.data;
    return;
  }
  morphAttributes(old, fresh);
  morphChildren(old, fresh);
}

window.morph = morph;
