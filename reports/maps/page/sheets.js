"use strict";
// The frame round the map: head, bar of buttons, the sheet that they open, scale and north.

const ICONS = {
  find: "M9 2 A7 7 0 1 0 9 16 A7 7 0 1 0 9 2 Z M14.2 14.2 L21 21",
  show: "M2 7 L22 7 M2 17 L22 17 M7 3.5 L11 7 L7 10.5 L3 7 Z M17 13.5 L21 17 L17 20.5 L13 17 Z",
  key: "M3 5 L9 5 M12 5 L21 5 M3 12 L9 12 M12 12 L21 12 M3 19 L9 19 M12 19 L21 19",
  measure: "M2 8 L22 8 L22 16 L2 16 Z M7 8 L7 12 M12 8 L12 13 M17 8 L17 12",
  whole: "M3 8 L3 3 L8 3 M16 3 L21 3 L21 8 M21 16 L21 21 L16 21 M8 21 L3 21 L3 16 M8 9 L16 9 L16 15 L8 15 Z",
  list: "M3 4 L21 4 L21 20 L3 20 Z M3 10 L21 10 M9 4 L9 20",
};

function iconPicture(name) {
  return drawing("svg", { viewBox: "0 0 24 24", width: 24, height: 24, "aria-hidden": "true" },
    drawing("path", {
      d: ICONS[name], fill: "none", stroke: "currentColor", "stroke-width": 2.2,
      "stroke-linejoin": "round", "stroke-linecap": "round",
    }));
}

class FieldFrame {
  constructor(map, earth, wording, { title, subtitle, home, tally = [] }) {
    this.map = map;
    this.earth = earth;
    this.wording = wording;
    this.home = home;
    this.openName = null;
    this.pages = {};
    const say = (name, values) => wording.say(name, values);

    this.head = make("header", { class: "head" },
      make("button", { class: "head-title", type: "button", "aria-expanded": "false",
        onclick: () => this.toggle("about") },
        make("strong", {}, title), make("span", {}, subtitle)),
      tally.length ? make("div", { class: "tally" }, ...tally) : null);
    this.head.prepend(make("h1", { class: "unseen" }, title));
    this.bar = make("nav", { class: "bar", "aria-label": say("tools") });
    this.sheetTitle = make("h2", { tabindex: "-1", id: "sheet-title" });
    this.sheetBody = make("div", {
      class: "sheet-body", tabindex: "0", role: "group", "aria-labelledby": "sheet-title",
    });
    this.sheet = make("section", { class: "sheet", hidden: true, "aria-labelledby": "sheet-title" },
      make("div", { class: "sheet-head" }, this.sheetTitle,
        make("button", { class: "plain close", type: "button", onclick: () => this.close() },
          say("close"))),
      this.sheetBody);
    this.scale = make("div", { class: "scale", role: "img" });
    this.zoom = make("div", { class: "zoom" },
      this.north(),
      this.zoomButton("+", say("nearer"), () => map.zoomIn()),
      this.zoomButton("\u2212", say("farther"), () => map.zoomOut()),
      this.zoomButton(iconPicture("whole"), say("whole"), () => this.fit(this.home)));
    this.ramp = make("div", { class: "ramp", role: "img", hidden: true });
    this.corner = make("div", { class: "corner" });
    document.body.prepend(this.head);
    document.querySelector("main").append(this.corner, this.zoom, this.ramp, this.scale);
    document.body.append(this.sheet, this.bar);
    document.addEventListener("keydown", (event) => {
      if (event.key === "Escape" && this.openName) {
        this.close();
      }
    });
    map.getContainer().setAttribute("aria-label", say("map_of", { name: title }));
    map.getContainer().setAttribute("role", "application");
    map.on("zoomend moveend", () => this.drawScale());
    this.drawScale();
  }

  zoomButton(sign, label, act) {
    return make("button", { type: "button", "aria-label": label, title: label, onclick: act },
      sign);
  }

  north() {
    const word = this.wording.say("north");
    const picture = drawing("svg", {
      viewBox: "0 0 40 49", width: 40, height: 49, role: "img", "aria-label": word,
    });
    const first = drawing("text", {
      x: 20, y: 42, "text-anchor": "middle", "font-size": 14, "font-weight": 700,
      fill: "currentColor",
    });
    first.textContent = this.wording.say("north_letter");
    picture.append(
      drawing("path", { d: "M20 2 L31 29 L20 23 Z", fill: "currentColor" }),
      drawing("path", {
        d: "M20 2 L9 29 L20 23 Z", fill: "none", stroke: "currentColor", "stroke-width": 2,
        "stroke-linejoin": "round",
      }),
      first);
    return make("div", { class: "north" }, picture);
  }

  addPage(name, { icon = null, title = null, build }) {
    this.pages[name] = { title: title === null ? this.wording.say(name) : title, build };
    if (icon) {
      const button = make("button", {
        type: "button", "data-page": name, "aria-expanded": "false",
        onclick: () => this.toggle(name),
      }, iconPicture(icon), make("span", {}, this.wording.say(name)));
      this.bar.append(button);
      this.pages[name].button = button;
    }
  }

  toggle(name) {
    if (this.openName === name) {
      this.close();
    } else {
      this.open(name);
    }
  }

  // On a wide screen there is room beside the map from the start: fill it with what matters first.
  openAtStart(name) {
    if (window.matchMedia("(min-width: 860px)").matches) {
      this.open(name, undefined, { focus: false });
    }
  }

  open(name, values, { focus = true } = {}) {
    const page = this.pages[name];
    const middle = this.middleInSight();
    this.leave();
    this.openName = name;
    this.opener = document.activeElement;
    this.sheetTitle.textContent = page.title;
    this.sheetBody.replaceChildren(...[page.build(values)].flat());
    this.sheet.hidden = false;
    this.sheetBody.scrollTop = 0;
    this.sheet.dataset.page = name;
    document.body.classList.add("sheet-open");
    this.tellButtons();
    const field = this.sheetBody.querySelector("input[type=search]");
    if (focus) {
      (field || this.sheetTitle).focus({ preventScroll: true });
    }
    this.keepInSight(middle);
  }

  setTitle(text) {
    this.sheetTitle.textContent = text;
  }

  leave() {
    const page = this.openName && this.pages[this.openName];
    if (page && page.onLeave) {
      page.onLeave();
    }
  }

  close() {
    const middle = this.middleInSight();
    this.leave();
    const name = this.openName;
    this.openName = null;
    this.sheet.hidden = true;
    document.body.classList.remove("sheet-open");
    this.tellButtons();
    const button = this.pages[name] && this.pages[name].button;
    (button || this.map.getContainer()).focus({ preventScroll: true });
    this.keepInSight(middle);
  }

  tellButtons() {
    for (const [name, page] of Object.entries(this.pages)) {
      if (page.button) {
        page.button.setAttribute("aria-expanded", String(name === this.openName));
      }
    }
    this.head.querySelector(".head-title").setAttribute("aria-expanded", String(this.openName === "about"));
  }

  // How much of the map lies under head, bar and sheet, so that what was chosen stays in sight. On
  // a wide screen they share one column, which is kept free whether a sheet is open or not.
  covered() {
    const whole = this.map.getContainer().getBoundingClientRect();
    const bar = this.bar.getBoundingClientRect();
    if (bar.width < whole.width * 0.6) {
      return { left: bar.right, top: 0, bottom: 0 };
    }
    const sheet = this.sheet.getBoundingClientRect();
    const foot = this.sheet.hidden ? bar.top : sheet.top;
    return { left: 0, top: this.head.getBoundingClientRect().bottom, bottom: whole.bottom - foot };
  }

  middleInSight() {
    const cover = this.covered();
    const size = this.map.getSize();
    return this.map.containerPointToLatLng(
      L.point((size.x + cover.left) / 2, (size.y + cover.top - cover.bottom) / 2));
  }

  // A sheet comes up over the map from below: what was in the middle moves up with it, and back.
  keepInSight(latLng) {
    const moved = this.map.latLngToContainerPoint(latLng)
      .distanceTo(this.map.latLngToContainerPoint(this.middleInSight()));
    if (moved > 1) {
      this.bringToSight(latLng);
    }
  }

  bringToSight(latLng, zoom) {
    const cover = this.covered();
    const size = this.map.getSize();
    const goal = zoom || this.map.getZoom();
    const point = this.map.project(latLng, goal);
    const middle = L.point((size.x + cover.left) / 2, (size.y + cover.top - cover.bottom) / 2);
    const centre = point.subtract(middle).add(size.divideBy(2));
    this.map.setView(this.map.unproject(centre, goal), goal, { animate: false });
  }

  fit(bounds) {
    const cover = this.covered();
    this.map.fitBounds(bounds, {
      paddingTopLeft: [cover.left + 14, cover.top + 14],
      paddingBottomRight: [64, cover.bottom + (this.sheet.hidden ? 56 : 14)],
      animate: false,
    });
  }

  // What the colours of the ground stand for, beside the map as long as they are on it.
  showRamp(title, steps, breaks) {
    this.ramp.hidden = title === null;
    const figures = breaks.map((figure) => this.wording.number(figure));
    this.ramp.setAttribute("aria-label", [title, ...figures].join(" "));
    this.ramp.replaceChildren(
      make("strong", {}, title || ""),
      make("div", { class: "ramp-steps" },
        ...steps.map((colour) => make("i", { style: "background:" + colour })),
        ...figures.map((figure, place) => make("span", {
          style: `grid-column:${2 * place + 2} / span 2`,
        }, figure))));
  }

  drawScale() {
    const perPixel = this.earth.metresPerPixel(this.map.getZoom());
    const longest = perPixel * Math.min(150, this.map.getSize().x * 0.38);
    const ten = 10 ** Math.floor(Math.log10(longest));
    const metres = [5, 2, 1].map((step) => step * ten).find((length) => length <= longest);
    const pixels = metres / perPixel;
    const parts = metres / ten === 5 ? 5 : 4;
    const bar = make("div", { class: "scale-bar", style: "width:" + pixels.toFixed(2) + "px" });
    for (let part = 0; part < parts; part += 1) {
      bar.append(make("i"));
    }
    const text = metres >= 1000
      ? this.wording.say("kilometres", { value: this.wording.number(metres / 1000) })
      : this.wording.say("metres", { value: this.wording.number(metres, metres < 1 ? 1 : 0) });
    this.scale.replaceChildren(bar, make("span", {}, text));
    this.scale.setAttribute("aria-label", text);
    this.scale.dataset.metres = metres;
  }
}

function choice(kind, group, label, checked, act, picture = null) {
  const input = make("input", { type: kind, name: group, checked });
  input.addEventListener("change", () => act(input.checked));
  return make("label", { class: "choice" }, input, picture, make("span", {}, label));
}

function pairs(list) {
  const table = make("dl", { class: "pairs" });
  for (const [name, value] of list) {
    if (value !== null && value !== undefined && value !== "") {
      const lines = [value].flat().filter(Boolean);
      table.append(make("dt", {}, name),
        make("dd", {}, ...lines.map((line) => make("p", {}, line))));
    }
  }
  return table;
}

function keyLine(picture, text) {
  return make("li", {}, picture, make("span", {}, text));
}

function swatch(colour, extra = "") {
  return make("i", { class: "swatch " + extra, style: "background:" + colour });
}

function nightButton(view) {
  const button = make("button", { class: "plain", type: "button" });
  const tell = () => {
    button.textContent = view.say(document.body.classList.contains("night") ? "day" : "night");
  };
  button.addEventListener("click", () => {
    document.body.classList.toggle("night");
    tell();
  });
  tell();
  return button;
}

// An obstacle's kind, and whether any of that kind is not to be crossed.
function obstacleText(view, kind) {
  const barred = view.content.obstacles.some((thing) => thing.kind === kind && !thing.passable);
  return view.say(kind) + (barred ? ", " + view.say("no_crossing") : "");
}

function flagPicture(style) {
  return drawing("svg", {
    viewBox: "0 0 44 18", width: 44, height: 18, "aria-hidden": "true", class: "mark",
  }, drawing("path", { d: "M8 1 L38 1 L34 12 L8 12 Z M7 1 L9 1 L9 18 L7 18 Z", fill: style.stroke }));
}

function bracketsPicture() {
  return drawing("svg", {
    viewBox: "-11 -11 22 22", width: 26, height: 26, "aria-hidden": "true", class: "mark",
  }, drawing("path", {
    d: "M-9 -4 V-9 H-4 M4 -9 H9 V-4 M9 4 V9 H4 M-4 9 H-9 V4", fill: "none", stroke: "#1B1517",
    "stroke-width": 2.4,
  }));
}

function decisionPicture(style) {
  const picture = drawing("svg", {
    viewBox: "0 0 36 24", width: 36, height: 24, "aria-hidden": "true", class: "mark",
  });
  picture.append(drawing("rect", {
    x: 1, y: 1, width: 34, height: 22, fill: style.fill, stroke: style.edge, "stroke-width": 2,
  }));
  const slants = "M2 16 L14 2 M6 23 L24 2 M18 23 L34 5 M28 23 L34 16";
  const back = "M2 9 L14 23 M6 2 L24 23 M18 2 L34 20";
  const paths = { plain: "", slant: slants, cross: slants + " " + back, dots: "" };
  picture.append(drawing("path", {
    d: paths[style.pattern], stroke: style.edge, "stroke-width": 1.2, opacity: 0.7, fill: "none",
  }));
  if (style.pattern === "dots") {
    for (const [x, y] of [[8, 7], [18, 7], [28, 7], [13, 16], [23, 16]]) {
      picture.append(drawing("circle", { cx: x, cy: y, r: 2, fill: style.edge, opacity: 0.7 }));
    }
  }
  return picture;
}

function keyFoot(view) {
  const notes = view.wording.reviewed ? [] : [view.say("unreviewed")];
  return [...notes, LEAFLET_NOTE].map((note) => make("p", { class: "foot" }, note));
}

const LEAFLET_NOTE = "Leaflet 1.9.3, BSD 2-Clause, © Volodymyr Agafonkin, © CloudMade";
