"use strict";
// What the sheet says of one tree, girth point, task, or of the sun.

function classLine(view, classPlace) {
  const mark = view.content.palette.classes[classPlace];
  return make("div", { class: "class-line" }, markPicture(mark, 34),
    make("span", {}, view.say(mark.name)));
}

function girthText(view, tree) {
  if (tree.girth < 0) {
    return view.say("girth_unknown");
  }
  return view.say("girth_known", {
    girth: view.wording.number(tree.girth / 10, 1), error: view.wording.number(tree.error / 10, 1),
  });
}

function knownHow(view, tree) {
  if (tree.girth < 0 || tree.source < 0) {
    return null;
  }
  const source = ["measured", "projected", "estimated"][tree.source];
  const joined = source !== "estimated" && tree.joined >= 0
    ? ", " + view.say("joined", { percent: view.wording.percent(tree.joined / 1000) }) : "";
  return view.say(source) + joined;
}

function readyText(view, tree) {
  const fitToday = ["ready", "mature"].includes(view.content.palette.classes[tree.classPlace].name);
  if (tree.ready < 0 || fitToday) {
    return null;
  }
  const day = (days) => view.wording.day(days);
  if (tree.readyLow < 0) {
    return day(tree.ready);
  }
  // A slow tree's latest day may lie beyond what is reckoned.
  return tree.readyHigh < 0
    ? view.say("ready_from", { date: day(tree.ready), low: day(tree.readyLow) })
    : view.say("ready_between", {
      date: day(tree.ready), low: day(tree.readyLow), high: day(tree.readyHigh),
    });
}

function treeCard(view, tree) {
  view.frame.setTitle(view.say("row_tree", { row: tree.rowNo, tree: tree.no }));
  const task = view.content.tasks[tree.task];
  const step = (by, name) => {
    const next = view.stand.beside(tree, by);
    return make("button", {
      class: "plain", type: "button", disabled: !next, onclick: () => view.choose(next),
    }, view.say(name));
  };
  return [
    classLine(view, tree.classPlace),
    make("div", { class: "row-of-buttons pair" }, step(-1, "before"), step(1, "after")),
    pairs([
      [view.say("girth"), [girthText(view, tree), knownHow(view, tree)]],
      [view.say("tape"), tree.tape > 0 ? view.say("tape_number", { number: tree.tape }) : null],
      [view.say("why"), view.tell(tree.reason)],
      [view.say("ready_on"), readyText(view, tree)],
      [view.say("task"), task ? view.say("task_stop", {
        task: task.id, stop: tree.stop, stops: task.trees,
      }) : null],
    ]),
    make("h3", {}, view.say("marking")),
    ...markingGuide(view, tree),
    make("p", { class: "foot" }, tree.id),
  ];
}

function markingGuide(view, tree) {
  const panels = view.stand.panelsOf(tree);
  if (!panels.length) {
    return [make("p", {}, view.say("no_guide"))];
  }
  const up = panels.some((panel) => panel.up);
  return [
    make("p", { class: "caution" }, view.say("caution_knife", {
      depth: view.wording.number(
        view.content.marking.depth_mm,
        Number.isInteger(view.content.marking.depth_mm) ? 0 : 1,
      ),
    })),
    up ? make("p", { class: "caution" }, view.say("caution_high")) : null,
    make("p", { class: "hint" }, view.say("heights")),
    make("div", { class: "panels" }, ...panels.map((panel) => panelGuide(view, panel))),
  ].filter(Boolean);
}

function panelGuide(view, panel) {
  const cm = (tenths) => view.say("centimetres", { value: view.wording.number(tenths / 10, 1) });
  const high = (tenths) => view.say("centimetres", {
    value: view.wording.number(tenths / 10, 0),
  });
  return make("section", { class: "panel" },
    make("h4", {}, [
      view.say("panel", { panel: panel.name }),
      view.say("panel_of", { number: panel.number, count: panel.count }),
      view.say(panel.up ? "up" : "down"),
    ].join(" · ")),
    make("div", { class: "panel-both" },
      panelPicture(view, panel),
      pairs([
        [view.say("faces"), view.wording.direction(panel.face / 10)],
        [view.say("high_end"), high(panel.top)],
        [view.say("low_end"), high(panel.foot)],
        [view.say("slope_of_cut"), view.say("degrees", { value: view.wording.number(panel.slope / 10) })],
        [view.say("panel_width"), cm(panel.width)],
        [view.say("cut_length"), cm(panel.cut)],
        [view.say("guide_lines"), view.wording.number(panel.lines)],
        [view.say("lines_apart"), view.say("centimetres", {
          value: view.wording.number(panel.spacing / 100, 2),
        })],
        [view.say("lowest"), high(panel.lowest)],
        [view.say("gutter_at"), high(panel.gutter)],
        [view.say("cup_at"), high(panel.cup)],
      ])));
}

// One panel laid flat, true to scale: the first cut, its guide lines, gutter and cup, with the
// heights of the cut's two ends written beside them.
function panelPicture(view, panel) {
  const [width, top, foot, cup] = [panel.width, panel.top, panel.foot, panel.cup].map(
    (tenths) => tenths / 10);
  const apart = (panel.spacing / 100) / Math.cos((panel.slope / 10) * (Math.PI / 180));
  const reach = (panel.lines - 1) * apart * (panel.up ? 1 : -1);
  const highest = Math.max(top, top + reach);
  const lowest = Math.min(foot, foot + reach, cup);
  const scale = Math.min(190 / (highest - lowest), 74 / width);
  const left = 24;
  const x = (cm) => left + cm * scale;
  const y = (cm) => 12 + (highest - cm) * scale;
  const tall = (highest - lowest) * scale + 36;
  const wide = left + width * scale + 28;
  const picture = drawing("svg", {
    width: Math.ceil(wide), height: Math.ceil(tall), "aria-hidden": "true",
  });
  const add = (tag, attributes, text) => {
    const element = drawing(tag, attributes);
    element.textContent = text || "";
    picture.append(element);
  };
  add("rect", { x: left - 8, y: 0, width: width * scale + 16, height: tall, fill: "#E9E2D6" });
  for (const edge of [0, width]) {
    add("path", { d: `M${x(edge)} 0 V${tall}`, stroke: "#1B1517", "stroke-width": 1,
      "stroke-dasharray": "3 3" });
  }
  for (let line = 0; line < panel.lines; line += 1) {
    const shift = line * apart * (panel.up ? 1 : -1);
    add("path", {
      d: `M${x(0)} ${y(top + shift)} L${x(width)} ${y(foot + shift)}`,
      stroke: line ? "#54504C" : "#A61931", "stroke-width": line ? 1 : 4, fill: "none",
    });
  }
  add("path", { d: `M${x(width)} ${y(foot)} v9`, stroke: "#1B1517", "stroke-width": 4 });
  add("path", {
    d: `M${x(width) - 11} ${y(cup)} h22 a11 11 0 0 1 -22 0 Z`,
    fill: "#FFFFFF", stroke: "#1B1517", "stroke-width": 2,
  });
  const letters = { "font-size": 12, "font-weight": 700, fill: "#1B1517", stroke: "#FFFFFF",
    "stroke-width": 3, "paint-order": "stroke" };
  add("text", { ...letters, x: 0, y: y(top) + 4 }, view.wording.number(top));
  add("text", { ...letters, x: wide, y: y(foot) - 3, "text-anchor": "end" },
    view.wording.number(foot));
  add("text", { ...letters, x: wide, y: y(cup) + 14, "text-anchor": "end" },
    view.wording.number(cup));
  return picture;
}

function doubtCard(view, doubt) {
  view.frame.setTitle(view.say("point", { point: doubt.id }));
  const treeButton = (place, share, name) => {
    if (place < 0) {
      return null;
    }
    const tree = view.trees[place];
    return make("li", {}, make("button", {
      class: "plain", type: "button", onclick: () => view.choose(tree),
    }, markPicture(view.content.palette.classes[tree.classPlace]),
    make("span", {}, view.say(name, {
      percent: view.wording.percent(share / 1000),
      tree: view.say("row_tree", { row: tree.rowNo, tree: tree.no }),
    }))));
  };
  const offset = doubt.dx === null ? null : make("p", {}, view.say("point_offset", {
    metres: view.wording.number(Math.hypot(doubt.dx, doubt.dy) / 100, 1),
    direction: view.wording.direction((Math.atan2(doubt.dx, doubt.dy) * 180) / Math.PI),
    error: view.wording.number((doubt.sd || 0) / 100, 1),
  }));
  return [
    doubt.tree < 0 ? make("p", { class: "caution" }, view.say("point_lost")) : null,
    make("ul", { class: "found" },
      treeButton(doubt.tree, doubt.share, "point_joined"),
      treeButton(doubt.second, doubt.secondShare, "point_second")),
    offset,
  ].filter(Boolean);
}

function taskCard(view, task) {
  view.frame.setTitle(view.say("task") + " " + task.id);
  const place = view.content.tasks.indexOf(task);
  const first = view.stand.firstOf(place);
  return [
    make("div", { class: "class-line" }, linePicture(task.style, true),
      make("span", {}, view.say("task_trees", { count: view.wording.number(task.trees) }))),
    make("p", {}, view.say("task_minutes", {
      minutes: task.minutes, tapping: task.tapping, walking: task.walking,
      collecting: task.collecting,
    })),
    make("p", {}, view.say("task_walk", { metres: view.wording.number(task.walk_m) })),
    make("p", {}, view.say("task_round", { day: task.day, beat: task.beat })),
    task.high_knife ? make("p", { class: "caution" }, view.say("high_knife")) : null,
    make("div", { class: "row-of-buttons" }, make("button", {
      class: "plain deep", type: "button", onclick: () => view.choose(first),
    }, view.say("walk_it"))),
    first.stop > 1 ? make("p", {}, view.say("begins_elsewhere", { stop: first.stop })) : null,
  ].filter(Boolean);
}

// Full, hollow and pale, so that the three are told apart without colour too.
const ROSE_COLOURS = {
  beam: { fill: "#F0D9A8", stroke: "#8A6A4A", "stroke-width": 0.5 },
  flow: { fill: "#FFFFFF", stroke: "#0B595F", "stroke-width": 0.9 },
  scorch: { fill: "#A61931", stroke: "none" },
};

function roseSwatch(name) {
  return drawing("svg", {
    viewBox: "0 0 36 20", width: 36, height: 20, "aria-hidden": "true", class: "mark",
  }, drawing("rect", { x: 2, y: 2, width: 32, height: 16, ...ROSE_COLOURS[name],
    "stroke-width": name === "flow" ? 3 : 1 }));
}

// The rose: for each way a panel may face, the beam in a year of tapping months on its bark.
function rosePicture(view, size) {
  const { sun } = view.content;
  const most = Math.max(...sun.beam, ...sun.scorch, ...sun.flow);
  const label = view.say("rose_title");
  const picture = drawing("svg", {
    viewBox: "-62 -62 124 124", width: size, height: size, role: "img", "aria-label": label,
  });
  const hole = 12;
  const out = (value) => hole + 32 * (value / most);
  const petal = (azimuth, value, half, colours) => {
    const at = (radius, degrees) => {
      const turn = (degrees * Math.PI) / 180;
      return `${(radius * Math.sin(turn)).toFixed(2)} ${(-radius * Math.cos(turn)).toFixed(2)}`;
    };
    const [from, to] = [azimuth - half, azimuth + half];
    picture.append(drawing("path", {
      d: `M${at(hole, from)} L${at(out(value), from)} L${at(out(value), to)} L${at(hole, to)} Z`,
      ...colours,
    }));
  };
  for (const value of [0, most / 2, most]) {
    picture.append(drawing("circle", {
      r: out(value), fill: "none", stroke: "#8C8578", "stroke-width": value ? 0.7 : 1.2,
    }));
  }
  sun.azimuth.forEach((azimuth, place) => {
    petal(azimuth, sun.beam[place], 4.7, ROSE_COLOURS.beam);
    petal(azimuth - 2.2, sun.scorch[place], 2, ROSE_COLOURS.scorch);
    petal(azimuth + 2.2, sun.flow[place], 1.7, ROSE_COLOURS.flow);
  });
  sun.faces.forEach((face) => {
    picture.append(drawing("path", {
      d: "M0 -46 L6 -56 L-6 -56 Z", fill: "#1B1517", transform: `rotate(${face})`,
    }));
  });
  for (const [word, x, y] of [["north", 9, -47], ["east", 53, 4], ["south", 9, 56],
    ["west", -53, 4]]) {
    const letter = drawing("text", {
      x, y, "font-size": 12, "font-weight": 700, fill: "#1B1517",
      "text-anchor": x === 9 ? "start" : "middle",
    });
    letter.textContent = view.say(word + "_letter");
    picture.append(letter);
  }
  return picture;
}

function sunCard(view) {
  const { sun } = view.content;
  const big = make("div", { class: "rose-big" }, rosePicture(view, 250));
  const rows = sun.azimuth.map((azimuth, place) => [azimuth, place])
    .filter(([azimuth]) => azimuth % 90 === 0)
    .map(([azimuth, place]) => make("tr", {},
      make("th", { scope: "row" }, view.wording.direction(azimuth)),
      ...["beam", "flow", "scorch"].map((name) => make("td", { class: "figure" },
        view.wording.number(sun[name][place])))));
  return [
    make("p", {}, make("strong", {}, view.say("rose_advice", { faces: view.tell(sun.words) })), " ",
      sun.apart ? view.say("rose_apart", {
        share: view.wording.percent(sun.saved), doubt: view.wording.percent(sun.doubt),
      }) : view.say("rose_same")),
    big,
    make("ul", { class: "key wide" },
      ...["beam", "flow", "scorch"].map((name) => keyLine(
        roseSwatch(name), view.say("rose_" + name)))),
    make("p", {}, view.tell(sun.reason)),
    sun.basis ? make("p", { class: "hint" }, view.tell(sun.basis)) : null,
    make("table", {},
      make("thead", {}, make("tr", {}, make("th", {}, view.say("faces")),
        ...["rose_beam", "rose_flow", "rose_scorch"].map((name) => make("th", { class: "figure" },
          view.say(name))))),
      make("tbody", {}, ...rows)),
    make("p", { class: "hint" }, view.say("rose_unit")),
    make("p", { class: "hint" }, view.say("rose_rings", {
      most: view.wording.number(Math.max(...sun.beam, ...sun.scorch, ...sun.flow)),
    })),
  ].filter(Boolean);
}
