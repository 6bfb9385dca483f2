"use strict";
// What the sheets of the overview say: one block, the list, what is shown, the key, finding.

function addPages(view) {
  const { frame } = view;
  frame.addPage("find", { icon: "find", build: () => findPage(view, "find_hint_overview", search) });
  frame.addPage("list", { icon: "list", title: view.say("blocks"), build: () => listPage(view) });
  frame.addPage("show", { icon: "show", build: () => showPage(view) });
  frame.addPage("key", { icon: "key", build: () => keyPage(view) });
  frame.addPage("measure", { icon: "measure", build: () => view.measure.page() });
  frame.pages.measure.onLeave = () => view.measure.stop();
  frame.addPage("about", { title: view.content.head.name, build: () => aboutPage(view) });
  frame.addPage("block", { build: (block) => blockPage(view, block) });
  frame.pages.block.onLeave = () => {
    view.chosen = null;
    view.repaint();
  };
}

function shareText(view, block) {
  const word = block.decision === "in tapping" ? "share_tapped" : "share_ready";
  return block.told === null ? null : view.say(word, {
    share: view.wording.share(block.told), standing: view.wording.number(block.standing),
    low: view.wording.perCent(block.told[2]), high: view.wording.perCent(block.told[3]),
  });
}

function blockPage(view, block) {
  view.frame.setTitle(block.id + (block.member ? " · " + block.member : ""));
  const style = view.content.palette.decisions[block.decision];
  return [
    style ? make("div", { class: "class-line" }, decisionPicture(style),
      make("span", {}, view.say(block.decision))) : null,
    block.reason ? make("p", {}, view.tell(block.reason)) : null,
    block.page ? make("div", { class: "row-of-buttons" },
      make("a", { class: "deep", href: block.page }, view.say("open_block_map"))) : null,
    pairs([
      [view.say("trees_short"), [
        shareText(view, block),
        block.measured === null ? null
          : view.say("measured_trees", { count: view.wording.number(block.measured) }),
        block.more ? view.say("more_to_measure", {
          count: view.wording.number(block.more) }) : null,
        later(view, block.likely_from) ? view.say("likely_from", {
          date: view.wording.date(block.likely_from) }) : null,
        later(view, block.wait_until) ? view.say(
          block.likely_from ? "sure_from" : "wait_until", {
            date: view.wording.date(block.wait_until) }) : null,
      ]],
      [view.say("holding"), block.holding < 0 ? null : view.content.holdings[block.holding].id],
      [view.say("planted"), block.planted ? view.wording.date(block.planted) : null],
      [view.say("area"), block.area_ha === null ? null
        : view.say("hectares", { value: view.wording.number(block.area_ha, 2) })],
    ]),
  ].filter(Boolean);
}

function later(view, day) {
  return day && day > view.content.head.on;
}

function decisionCounts(view) {
  const counts = new Map();
  for (const name of Object.keys(view.content.palette.decisions)) {
    counts.set(name, view.content.blocks.filter((block) => block.decision === name).length);
  }
  return counts;
}

function aboutPage(view) {
  const { head, blocks } = view.content;
  return [
    pairs([
      [view.say("blocks"), view.wording.number(blocks.length)],
      [view.say("holdings"), view.wording.number(view.content.holdings.length)],
      [view.say("standard"), view.tell(head.standard)],
    ]),
    make("ul", { class: "key wide" }, ...[...decisionCounts(view)].map(([name, count]) => keyLine(
      decisionPicture(view.content.palette.decisions[name]),
      view.say(name) + ": " + view.wording.number(count)))),
  ];
}

// How many blocks each decision has, in the order in which they ask for a manager's time.
function decisionTally(view) {
  const counts = decisionCounts(view);
  return DECISION_TURNS.filter((name) => counts.get(name)).map((name) => make("button", {
    type: "button", "data-decision": name, "aria-pressed": String(view.only === name),
    onclick: () => {
      const only = view.only === name ? null : name;
      view.showOnly(only);
      if (only || view.frame.openName === "list") {
        view.frame.open("list");
      }
    },
  }, decisionPicture(view.content.palette.decisions[name]),
  make("span", {}, view.say(name)), make("strong", {}, view.wording.number(counts.get(name)))));
}

// Longer lists than this are narrowed by decision or by name.
const MOST_LISTED = 200;

function listPage(view) {
  const counts = decisionCounts(view);
  let room = MOST_LISTED;
  const groups = DECISION_TURNS.flatMap((name) => {
    const blocks = view.content.blocks.filter((block) => block.decision === name);
    if (!blocks.length || !room || (view.only && view.only !== name)) {
      return [];
    }
    blocks.sort((one, other) => (other.share || 0) - (one.share || 0));
    const hits = blocks.map((block) => ({
      picture: null,
      text: block.id + shareSaid(view, block),
      under: [shareSpan(view, block), block.member, nextStep(view, block)].filter(Boolean),
      go: () => view.choose(block),
    }));
    const lines = hitLines(view, hits, room);
    room = Math.max(0, room - blocks.length);
    return [
      make("h3", { class: "decision" }, decisionPicture(view.content.palette.decisions[name]),
        make("span", {}, view.say(name)),
        make("span", {}, view.wording.number(counts.get(name)))),
      make("ul", { class: "found side-by-side" }, ...lines),
    ];
  });
  return [
    make("div", { class: "tally" }, ...decisionTally(view)),
    make("p", { class: "hint" }, view.say("list_hint")),
    ...groups,
  ];
}

// What is to be done with a block before it can be opened; null where nothing is.
function nextStep(view, block) {
  if (block.decision === "measure more" && block.more) {
    return view.say("more_to_measure", { count: view.wording.number(block.more) });
  }
  if (block.decision === "wait" && block.wait_until && block.wait_until > view.content.head.on) {
    return view.say("wait_until", { date: view.wording.date(block.wait_until) });
  }
  return null;
}

function shareSaid(view, block) {
  return block.told === null ? "" : " · " + view.wording.share(block.told);
}

function shareSpan(view, block) {
  return block.told === null ? null : view.say("from_to", {
    low: view.wording.perCent(block.told[2]), high: view.wording.perCent(block.told[3]),
  });
}

function blockHit(view, block) {
  const style = view.content.palette.decisions[block.decision];
  return {
    picture: style ? decisionPicture(style) : null,
    text: block.id + (block.member ? " · " + block.member : "") + shareSaid(view, block),
    under: [nextStep(view, block)].filter(Boolean),
    go: () => view.choose(block),
  };
}

function showPage(view) {
  return [
    make("div", { class: "choices" }, ...["blocks", "holdings", "trees", "places"].map((name) =>
      choice("checkbox", name, view.say(name), view.shown[name],
        (on) => view.setShown(name, on)))),
    make("p", { class: "hint" }, view.say("come_nearer")),
    view.groundLayer ? make("h3", {}, view.say("ground")) : null,
    view.groundLayer ? make("div", { class: "choices" }, ...["plain", "shade"].map((name) =>
      choice("radio", "ground", view.say(name), view.shown.ground === name,
        () => view.setGround(name)))) : null,
    make("div", { class: "row-of-buttons" }, nightButton(view)),
  ].filter(Boolean);
}

function keyPage(view) {
  const { palette } = view.content;
  return [
    make("h3", {}, view.say("key_decisions")),
    make("ul", { class: "key" }, ...Object.values(palette.decisions).map((style) => keyLine(
      decisionPicture(style), view.say(style.name)))),
    make("p", {}, view.say("gauge")),
    make("h3", {}, view.say("key_trees")),
    make("ul", { class: "key" }, ...palette.classes.map((mark) => keyLine(markPicture(mark),
      view.say(mark.name)))),
    make("h3", {}, view.say("key_lines")),
    make("ul", { class: "key wide" }, keyLine(linePicture(palette.lines.holding),
      view.say("holding_line")),
    ...[...new Set(view.content.obstacles.map((thing) => thing.kind))].map((kind) => keyLine(
      linePicture(palette.lines[kind]), obstacleText(view, kind)))),
    make("ul", { class: "key" }, ...[...new Set(view.content.places.map((place) => place.kind))]
      .map((kind) => keyLine(markPicture(palette.places[kind]), view.say(kind)))),
    ...keyFoot(view),
  ];
}

function search(view, asked) {
  const has = (name) => name && String(name).toLowerCase().includes(asked);
  return view.content.blocks.filter((block) => has(block.id) || has(block.member)
    || (block.holding >= 0 && has(view.content.holdings[block.holding].id)))
    .map((block) => blockHit(view, block));
}
