"use strict";
// Finding by what people call things: a field, and the places that its words lead to.

const MOST_FOUND = 30;

// The sheet with the search field; `search` gives hits, each with a picture, a text and a way.
function findPage(view, hint, search) {
  const list = make("ul", { class: "found", "aria-live": "polite" });
  const field = make("input", {
    type: "search", "aria-label": view.say("find"), autocomplete: "off", enterkeyhint: "search",
  });
  field.addEventListener("input", () => {
    const asked = field.value.trim().toLowerCase();
    list.replaceChildren(...(asked ? hitLines(view, search(view, asked), MOST_FOUND) : []));
  });
  field.addEventListener("keydown", (event) => {
    const first = list.querySelector("button");
    if (event.key === "Enter" && first) {
      first.click();
    }
  });
  return [field, make("p", { class: "hint" }, view.say(hint)), list];
}

function hitLines(view, hits, most) {
  if (!hits.length) {
    return [make("li", { class: "hint" }, view.say("found_none"))];
  }
  const lines = hits.slice(0, most).map((hit) => make("li", {}, make("button", {
    class: "plain", type: "button", onclick: hit.go,
  }, hit.picture, make("span", {}, hit.text,
    ...(hit.under || []).map((line) => make("small", {}, line))))));
  if (hits.length > most) {
    lines.push(make("li", { class: "hint" },
      view.say("found_more", { count: hits.length - most })));
  }
  return lines;
}
