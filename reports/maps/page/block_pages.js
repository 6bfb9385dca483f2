"use strict";
// What the sheets of a block's map say: the block, what is shown, the key, finding.

function addPages(view) {
  const { frame } = view;
  frame.addPage("find", { icon: "find", build: () => findPage(view, "find_hint_block", search) });
  frame.addPage("show", { icon: "show", build: () => showPage(view) });
  frame.addPage("key", { icon: "key", build: () => keyPage(view) });
  frame.addPage("measure", { icon: "measure", build: () => view.measure.page() });
  frame.pages.measure.onLeave = () => view.measure.stop();
  frame.addPage("about", { title: view.content.head.block, build: () => aboutPage(view) });
  frame.addPage("tree", { title: "", build: (tree) => treeCard(view, tree) });
  frame.pages.tree.onLeave = () => {
    view.marks.chosen = null;
    view.repaint();
  };
  frame.addPage("point", { title: "", build: (doubt) => doubtCard(view, doubt) });
  frame.addPage("oneTask", { title: "", build: (task) => taskCard(view, task) });
  frame.addPage("sun", { title: view.say("rose_title"), build: () => sunCard(view) });
}

// The block's decision and the share of its trees that are fit to tap, at the head of the map.
function blockTally(view) {
  const { head, palette } = view.content;
  const style = palette.decisions[head.decision];
  return style ? [make("button", {
    type: "button", onclick: () => view.frame.open("about"),
  }, decisionPicture(style), make("span", {}, view.say(head.decision)),
  head.told === null ? null : make("strong", {}, fitText(view)))] : [];
}

// The share of the block's trees that are fit to tap, with the interval in which it lies.
function fitText(view) {
  const { decision, told } = view.content.head;
  return view.say(decision === "in tapping" ? "fit_tapped" : "fit_ready", {
    share: view.wording.share(told),
    span: view.say("from_to", {
      low: view.wording.perCent(told[2]), high: view.wording.perCent(told[3]),
    }),
  });
}

function aboutPage(view) {
  const { head } = view.content;
  const counts = view.content.palette.classes.map((mark, place) => [mark, view.trees.filter(
    (tree) => tree.classPlace === place).length]).filter(([, count]) => count);
  const years = head.planted
    ? Math.floor((new Date(head.on) - new Date(head.planted)) / (365.25 * 86400000)) : null;
  return [
    pairs([
      [view.say("decision"), [head.decision ? view.say(head.decision) : null, view.tell(head.reason)]],
      [view.say("member"), head.member],
      [view.say("holding"), head.holding],
      [view.say("planted"), head.planted ? view.wording.date(head.planted) + " · "
        + view.say("years_old", { years }) : null],
      [view.say("area"), head.area_ha === null ? null
        : view.say("hectares", { value: view.wording.number(head.area_ha, 2) })],
      [view.say("standard"), view.tell(head.standard)],
    ]),
    make("h3", {}, view.say("key_trees")),
    make("ul", { class: "key" }, ...counts.map(([mark, count]) => keyLine(markPicture(mark),
      view.say(mark.name) + ": " + view.wording.number(count)))),
    view.content.tasks.length ? make("h3", {}, view.say("all_tasks")) : null,
    make("ul", { class: "found" }, ...view.content.tasks.map((task) => make("li", {},
      make("button", {
        class: "plain", type: "button", onclick: () => view.frame.open("oneTask", task),
      }, linePicture(task.style, true), make("span", {}, task.id + " · "
        + view.say("task_trees", { count: view.wording.number(task.trees) })))))),
    view.content.sun ? make("button", {
      class: "plain", type: "button", onclick: () => view.frame.open("sun"),
    }, view.say("rose_title")) : null,
    view.content.overview ? make("p", {}, make("a", { class: "deep", href: view.content.overview },
      view.say("whole_cooperative"))) : null,
    make("p", { class: "foot" }, head.name),
  ].filter(Boolean);
}

function showPage(view) {
  const { content } = view;
  const grounds = ["plain", ...["shade", "slope", "girth"].filter((name) => content.ground[name])];
  const groundWord = { girth: "girth_surface" };
  const switches = ["trees", "rows", "walks", "doubts", "holdings", "places"];
  const anyToTape = view.trees.some((tree) => tree.tape > 0);
  if (anyToTape) {
    switches.push("tape");
  }
  if (content.ground.contours) {
    switches.push("contours");
  }
  if (content.sun) {
    switches.push("rose");
  }
  const pick = make("select", { "aria-label": view.say("one_task") },
    make("option", { value: -1 }, view.say("all_tasks")),
    ...content.tasks.map((task, place) => make("option", {
      value: place, selected: place === view.taskShown,
    }, task.id)));
  pick.addEventListener("change", () => {
    view.taskShown = Number(pick.value);
    view.repaint();
  });
  return [
    make("div", { class: "choices" }, ...switches.map((name) => choice("checkbox", name,
      view.say(name), view.shown[name], (on) => view.setShown(name, on)))),
    content.tasks.length > 1 ? pick : null,
    make("h3", {}, view.say("ground")),
    make("div", { class: "choices" }, ...grounds.map((name) => choice("radio", "ground",
      view.say(groundWord[name] || name), view.shown.ground === name,
      () => view.setGround(name)))),
    make("div", { class: "row-of-buttons" }, nightButton(view)),
  ].filter(Boolean);
}

function keyPage(view) {
  const { palette, tasks, ground } = view.content;
  const lines = Object.keys(palette.lines).filter((name) => view.content.obstacles.some(
    (thing) => thing.kind === name));
  const kinds = [...new Set(view.content.places.map((place) => place.kind))];
  return [
    make("h3", {}, view.say("key_trees")),
    make("ul", { class: "key" }, ...palette.classes.map((mark) => keyLine(markPicture(mark),
      view.say(mark.name))),
    view.trees.some((tree) => tree.tape > 0) ? keyLine(bracketsPicture(), view.say("tape")) : null),
    make("h3", {}, view.say("key_lines")),
    make("ul", { class: "key wide" },
      ...tasks.map((task) => keyLine(linePicture(task.style, true),
        view.say("task") + " " + task.id)),
      tasks.length ? keyLine(linePicture(tasks[0].style, true), view.say("walk_line")) : null,
      tasks.length ? keyLine(flagPicture(tasks[0].style), view.say("walk_start")) : null,
      keyLine(linePicture(palette.lines.row), view.say("row_line")),
      keyLine(linePicture(palette.lines.block), view.say("block_line")),
      keyLine(linePicture(palette.lines.holding), view.say("holding_line")),
      keyLine(linePicture(palette.lines.doubt, true), view.say("doubt_line")),
      ground.contour_m ? keyLine(linePicture(palette.lines.contour),
        view.say("contour_every", { metres: view.wording.number(ground.contour_m,
          ground.contour_m < 1 ? 1 : 0) })) : null,
      ...lines.map((name) => keyLine(linePicture(palette.lines[name]), obstacleText(view, name)))),
    kinds.length ? make("h3", {}, view.say("key_places")) : null,
    make("ul", { class: "key" }, ...kinds.map((kind) => keyLine(
      markPicture(palette.places[kind]), view.say(kind)))),
    make("p", { class: "hint" }, view.say("plus_minus")),
    ground.slope ? make("h3", {}, view.say("slope_deg")) : null,
    ground.slope ? stepsKey(view, palette.slope.steps, palette.slope.breaks) : null,
    ground.girth ? make("h3", {}, view.say("girth_cm")) : null,
    ground.girth ? stepsKey(view, palette.girth.steps, ground.girth_breaks) : null,
    ...keyFoot(view),
  ].filter(Boolean);
}

function stepsKey(view, steps, breaks) {
  return make("ul", { class: "key" }, ...steps.map((colour, place) => {
    const low = place ? view.wording.number(breaks[place - 1]) : null;
    const high = place < breaks.length ? view.wording.number(breaks[place]) : null;
    const text = low === null ? view.say("less_than", { high })
      : high === null ? view.say("more_than", { low }) : view.say("from_to", { low, high });
    return keyLine(swatch(colour), text);
  }));
}

function search(view, asked) {
  const { content } = view;
  const numbers = (asked.match(/\d+/g) || []).map(Number);
  const onlyNumbers = /^[\d\s\-–,./]+$/.test(asked);
  const treeHit = (tree) => ({
    picture: markPicture(content.palette.classes[tree.classPlace]),
    text: view.say("row_tree", { row: tree.rowNo, tree: tree.no }) + " · " + tree.id,
    go: () => view.choose(tree),
  });
  const rowHit = (row) => ({
    picture: linePicture(content.palette.lines.row),
    text: view.say("row", { row: row.no }) + " · " + row.id,
    go: () => view.choose(view.trees.find((tree) => content.rows[tree.row] === row)),
  });
  if (onlyNumbers && numbers.length === 2) {
    return view.trees.filter((tree) => tree.rowNo === numbers[0] && tree.no === numbers[1])
      .map(treeHit);
  }
  if (onlyNumbers && numbers.length === 1) {
    return content.rows.filter((row) => row.no === numbers[0]).map(rowHit);
  }
  const has = (name) => name && String(name).toLowerCase().includes(asked);
  return [
    ...(has(content.head.member) || has(content.head.block) || has(content.head.holding) ? [{
      picture: null, text: [content.head.block, content.head.member].join(" · "),
      go: () => {
        view.frame.open("about");
        view.frame.fit(view.home);
      },
    }] : []),
    ...content.tasks.filter((task) => has(task.id)).map((task) => ({
      picture: linePicture(task.style, true), text: view.say("task") + " " + task.id,
      go: () => view.frame.open("oneTask", task),
    })),
    ...content.rows.filter((row) => has(row.id)).map(rowHit),
    ...view.trees.filter((tree) => has(tree.id)).map(treeHit),
  ];
}
