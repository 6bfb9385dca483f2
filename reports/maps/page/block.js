"use strict";
// The map of one block.

class BlockView extends FieldView {
  constructor(map, content) {
    super(map, content);
    this.shown = {
      ground: content.ground.shade ? "shade" : "plain", holdings: true, rows: true, trees: true,
      tape: content.trees.tape.some((number) => number > 0), doubts: false, walks: content.tasks.length > 0, starts: content.tasks.length > 0, contours: true, places: true, rose: false,
    };
    this.taskShown = -1;
    this.trees = this.readTrees();
    this.doubts = content.doubts.map((doubt) => ({
      id: doubt[0], at: this.earth.latLng(doubt[1], doubt[2]), tree: doubt[3], share: doubt[4],
      second: doubt[5], secondShare: doubt[6], dx: doubt[7], dy: doubt[8], sd: doubt[9],
    }));
    this.panelStart = this.readPanels();
  }

  readTrees() {
    const from = this.content.trees;
    const [row, no, x, y] = [from.row, from.no, from.x, from.y].map(runningSum);
    return from.id.map((id, place) => ({
      id, place, row: row[place], rowNo: this.content.rows[row[place]].no, no: no[place],
      at: this.earth.latLng(x[place], y[place]), classPlace: from.class[place],
      reason: from.reason[place] < 0 ? null : from.reasons[from.reason[place]],
      girth: from.girth[place], error: from.error[place], source: from.source[place],
      joined: from.joined[place], ready: from.ready[place], readyLow: from.ready_low[place],
      readyHigh: from.ready_high[place], task: from.task[place], stop: from.stop[place],
      tape: from.tape[place],
    }));
  }

  readPanels() {
    const tree = runningSum(this.content.panels.tree);
    this.panelColumns = {};
    for (const name of ["panel_width", "cut_length", "top", "foot", "lowest", "gutter", "cup",
      "slope", "face"]) {
      this.panelColumns[name] = runningSum(this.content.panels[name]);
    }
    const start = new Map();
    tree.forEach((place, panel) => {
      start.set(place, [...(start.get(place) || []), panel]);
    });
    return start;
  }

  panelsOf(tree) {
    const { panels } = this.content;
    const columns = this.panelColumns;
    return (this.panelStart.get(tree.place) || []).map((place) => ({
      name: panels.names[panels.name[place]], number: panels.number[place],
      count: panels.count[place], up: panels.up[place] === 1, lines: panels.lines[place],
      spacing: panels.spacing[place], width: columns.panel_width[place],
      cut: columns.cut_length[place], top: columns.top[place], foot: columns.foot[place],
      lowest: columns.lowest[place], gutter: columns.gutter[place], cup: columns.cup[place],
      slope: columns.slope[place], face: columns.face[place],
    }));
  }

  start() {
    const { content, map } = this;
    const head = content.head;
    const edge = this.earth.lines(content.edge);
    this.home = L.latLngBounds(edge.flat());
    map.fitBounds(this.home, { animate: false });
    map.setMinZoom(map.getZoom() - 3);
    map.setMaxBounds(this.home.pad(3));
    this.frame = new FieldFrame(map, this.earth, this.wording, {
      title: head.block + (head.member ? " · " + head.member : ""),
      subtitle: this.say("girths_on", { date: this.wording.date(head.on) }),
      home: this.home,
      tally: blockTally(this),
    });
    this.treeGap = this.nearestGap();
    this.marks = this.markSettings();
    map.on("zoomstart zoomend", () => this.sizeMarks());
    this.sizeMarks();
    map.addLayer(this.renderer);
    this.drawGround();
    this.drawLines(edge);
    this.drawTrees();
    this.measure = new Measure(map, this.renderer, this.earth, this.wording);
    addPages(this);
    map.on("click", (event) => this.tapped(event.latlng, event.containerPoint));
    map.getContainer().addEventListener("keydown", (event) => {
      if (event.key === "Enter" && event.target === map.getContainer()) {
        this.tapped(map.getCenter(), map.getSize().divideBy(2));
      }
    });
    this.frame.openAtStart("about");
    this.frame.fit(this.home);
  }

  nearestGap() {
    const gaps = [];
    for (let place = 1; place < this.trees.length; place += 1) {
      const [one, other] = [this.trees[place - 1], this.trees[place]];
      if (one.row === other.row && other.no === one.no + 1) {
        gaps.push(this.earth.metres(L.latLng(one.at), L.latLng(other.at)));
      }
    }
    gaps.sort((a, b) => a - b);
    return gaps.length ? gaps[gaps.length >> 1] : 3;
  }

  markSettings() {
    const view = this;
    return {
      radius: 5,
      chosen: null,
      sprite: (place, radius) => view.sheetOfMarks.sprite(place, radius),
      faded: (tree) => view.shown.walks && view.taskShown >= 0 && tree.task !== view.taskShown,
      toTape: (tree) => view.shown.tape && tree.tape > 0,
      stopText(tree) {
        // One set of numbers at a time: those of the survey where trees are to be taped.
        if (view.shown.tape) {
          return this.toTape(tree) && this.radius >= 4.5 ? String(tree.tape) : "";
        }
        if (!view.shown.walks || tree.task < 0 || this.faded(tree)) {
          return "";
        }
        const each = this.radius >= 12 ? 1 : this.radius >= 7 ? 5 : this.radius >= 4.5 ? 20 : 0;
        return each && (tree.stop % each === 0 || tree.stop === 1) ? String(tree.stop) : "";
      },
    };
  }

  sizeMarks() {
    const gapPixels = this.treeGap / this.earth.metresPerPixel(this.map.getZoom());
    this.marks.radius = Math.round(Math.min(15, Math.max(1.25, gapPixels * 0.38)) * 4) / 4;
  }

  drawGround() {
    const pane = this.map.createPane("ground");
    pane.style.zIndex = 250;
    this.groundLayers = {};
    for (const name of ["shade", "slope", "girth"]) {
      const picture = this.content.ground[name];
      if (picture) {
        this.groundLayers[name] = L.imageOverlay(picture.url, picture.bounds, {
          pane: "ground", opacity: name === "girth" ? 0.85 : 1, alt: "",
        });
      }
    }
    this.setGround(this.shown.ground);
  }

  setGround(name) {
    this.shown.ground = name;
    for (const [key, layer] of Object.entries(this.groundLayers)) {
      if (key === name) {
        layer.addTo(this.map);
      } else {
        layer.remove();
      }
    }
  }

  drawLines(edge) {
    const { content, earth } = this;
    const { lines } = content.palette;
    const heightLabel = (text) => (layer) => {
      const part = layer._parts[0];
      if (part && part.length > 1) {
        const spots = [0.5, 0.25, 0.75].map((share) => part[Math.floor(part.length * share)]);
        layer._renderer.ask("height", text, spots.map((at) => [at.x, at.y]),
          { size: 11, ink: "#6B4F33" });
      }
    };
    this.group("contours", (content.ground.contours || []).map((contour) =>
      new FieldLine(earth.lines(contour.lines), lines.contour, {
        label: heightLabel(
          this.wording.number(contour.m, content.ground.contour_m < 1 ? 1 : 0)),
      })));
    this.group("holdings", [
      ...content.neighbours.map((block) => new FieldArea(earth.lines(block.lines),
        { ...lines.block, width: 1 }, { label: this.nameOf(block.id) })),
      ...content.holdings.map((holding) => new FieldArea(earth.lines(holding.lines),
        lines.holding)),
      new FieldArea(edge, { ...lines.block, width: 2.4 }),
    ]);
    this.group("rows", content.rows.map((row) => new FieldLine(earth.lines(row.lines), lines.row, {
      label: (layer) => this.rowLabel(layer, row),
    })));
    this.group("places", [
      ...content.obstacles.map((thing) => thing.area
        ? new FieldArea(earth.lines(thing.lines), lines[thing.kind], {
          tint: lines[thing.kind].stroke, tintAlpha: 0.2,
        })
        : new FieldLine(earth.lines(thing.lines), lines[thing.kind], { casing: true })),
      ...content.places.map((place) => this.placeMark(place)),
    ]);
    this.walkLayers = content.tasks.map((task, place) => this.walkLayer(task, place));
    this.group("walks", this.walkLayers);
  }

  nameOf(text) {
    return (layer) => {
      if (layer._parts.length) {
        const at = L.bounds(layer._parts.flat()).getCenter();
        layer._renderer.ask("name", text, [[at.x, at.y]], { size: 13, ink: "#54504C" });
      }
    };
  }

  rowLabel(layer, row) {
    const points = layer._rings ? layer._rings.flat() : [];
    if (this.marks.radius < 4 || points.length < 2) {
      return;
    }
    const ends = [[points[0], points[1]], [points[points.length - 1], points[points.length - 2]]];
    for (const [end, inner] of ends) {
      const length = Math.hypot(end.x - inner.x, end.y - inner.y) || 1;
      const away = this.marks.radius + 16;
      const at = [end.x + ((end.x - inner.x) / length) * away,
        end.y + ((end.y - inner.y) / length) * away];
      layer._renderer.ask("row", this.say("row_short", { row: row.no }), [at], { ink: "#54504C" });
    }
  }

  placeMark(place) {
    const mark = this.content.palette.places[place.kind];
    const path = new Path2D(mark.path);
    return new FieldPoint(this.earth.latLng(place.x, place.y), (context, at, renderer) => {
      context.save();
      context.translate(at.x, at.y);
      context.lineWidth = 5;
      context.lineJoin = "round";
      context.strokeStyle = mark.halo;
      context.stroke(path);
      context.fillStyle = mark.fill;
      context.fill(path, "evenodd");
      context.restore();
      if (place.name) {
        renderer.ask("place", place.name, [[at.x, at.y + 20], [at.x, at.y - 20]]);
      }
    });
  }

  walkLayer(task, place) {
    const layer = new FieldLine(this.earth.lines(task.lines), task.style, { casing: true });
    const view = this;
    const plain = layer.paint;
    layer.paint = function paint(context) {
      context.globalAlpha = view.taskShown >= 0 && view.taskShown !== place ? 0.2 : 1;
      const slim = { ...task.style, width: Math.min(3, Math.max(1.2, view.marks.radius / 2.5)) };
      this.line = slim;
      plain.call(this, context);
      if (context.globalAlpha === 1) {
        paintArrowheads(context, this._parts, task.style.stroke, 90,
          Math.min(1, Math.max(0.55, view.marks.radius / 5)));
      }
    };
    return layer;
  }

  // A task's first tree in this block; a task may begin in another one.
  firstOf(place) {
    return this.trees.reduce((first, tree) =>
      (tree.task === place && (!first || tree.stop < first.stop) ? tree : first), null);
  }

  // The flag at a task's first tree here, above the marks so that none hides it.
  startLayer(task, place) {
    return new FieldPoint(this.firstOf(place).at, (context, at, renderer) => {
      if (this.taskShown < 0 || this.taskShown === place) {
        const off = this.marks.radius + 22;
        renderer.ask("flag", task.id, [
          [at.x, at.y - off], [at.x, at.y + off], [at.x, at.y - off - 26], [at.x, at.y + off + 26],
        ], { size: 13, ink: task.style.stroke, pointX: at.x, pointY: at.y });
      }
    });
  }

  drawTrees() {
    const marks = this.trees.map((tree) => {
      const mark = new TreeMark(tree.at, tree, this.marks);
      tree.mark = mark;
      return mark;
    });
    this.group("trees", marks);
    this.starts = this.content.tasks.map((task, place) => this.startLayer(task, place));
    this.group("starts", this.starts);
    this.group("doubts", this.doubts.flatMap((doubt) => this.doubtLayers(doubt)));
  }

  doubtLayers(doubt) {
    const style = this.content.palette.lines.doubt;
    const arrow = (place, dash, width) => {
      if (place < 0) {
        return [];
      }
      const line = new FieldLine([doubt.at, this.trees[place].at], { ...style, dash, width });
      const plain = line.paint;
      line.paint = function paint(context) {
        plain.call(this, context);
        const part = this._parts[0];
        if (part && part.length > 1) {
          const length = Math.hypot(part[1].x - part[0].x, part[1].y - part[0].y);
          paintArrowheads(context, [part], style.stroke, Math.max(8, length * 1.2), 0.7);
        }
      };
      return [line];
    };
    const point = new FieldPoint(doubt.at, (context, at) => {
      context.beginPath();
      context.rect(at.x - 4, at.y - 4, 8, 8);
      context.fillStyle = doubt.tree < 0 ? style.stroke : "#FFFFFF";
      context.fill();
      context.strokeStyle = style.stroke;
      context.lineWidth = 2;
      context.stroke();
    });
    return [...arrow(doubt.second, [3, 3], 1.2), ...arrow(doubt.tree, [], 2), point];
  }

  setShown(name, on) {
    this.shown[name] = on;
    if (name === "walks") {
      this.setShown("starts", on);
    }
    if (name === "rose") {
      this.drawRose();
    } else if (name === "tape") {
      this.repaint();
    } else if (on) {
      this.groups[name].addTo(this.map);
      this.inOrder();
    } else {
      this.groups[name].remove();
    }
    this.repaint();
  }

  // Layers put back later would lie above the rest: put those above them back on top.
  inOrder() {
    for (const name of ["contours", "holdings", "rows", "places", "walks", "trees", "starts",
      "doubts"]) {
      if (this.shown[name]) {
        this.groups[name].eachLayer((layer) => layer.bringToFront());
      }
    }
  }

  drawRose() {
    this.frame.corner.replaceChildren();
    if (this.shown.rose && this.content.sun) {
      this.frame.corner.append(make("button", {
        class: "rose-box", type: "button", "aria-label": this.say("rose_title"),
        onclick: () => this.frame.open("sun"),
      }, rosePicture(this, 118)));
    }
  }

  tapped(latLng, point) {
    if (this.measure.on) {
      this.measure.add(latLng);
      return;
    }
    const near = (at) => this.map.latLngToContainerPoint(at).distanceTo(point);
    let best = null;
    let least = 26;
    if (this.shown.doubts) {
      for (const doubt of this.doubts) {
        const distance = near(doubt.at);
        if (distance < Math.min(least, 12)) {
          [best, least] = [doubt, distance];
        }
      }
      if (best) {
        this.frame.open("point", best);
        return;
      }
    }
    if (this.shown.trees) {
      for (const tree of this.trees) {
        const distance = near(tree.at);
        if (distance < least) {
          [best, least] = [tree, distance];
        }
      }
    }
    if (best) {
      this.choose(best, { stay: true });
    }
  }

  choose(tree, { stay = false } = {}) {
    if (!this.shown.trees) {
      this.setShown("trees", true);
    }
    this.marks.chosen = tree;
    this.frame.open("tree", tree);
    const nearEnough = Math.log2(
      (360 * this.content.frame.east_m * 9) / (256 * this.treeGap * 0.38));
    const zoom = stay ? this.map.getZoom() : Math.max(this.map.getZoom(), nearEnough);
    const cover = this.frame.covered();
    const at = this.map.latLngToContainerPoint(tree.at);
    const size = this.map.getSize();
    const hidden = at.x < cover.left + 20 || at.y > size.y - cover.bottom - 20
      || at.y < cover.top + 20 || at.x > size.x - 60;
    if (!stay || hidden) {
      this.frame.bringToSight(tree.at, zoom);
    }
    tree.mark.bringToFront();
    this.repaint();
  }

  // The tree before or after in the walk; in the row where it isn't in a walk.
  beside(tree, by) {
    if (tree.task >= 0) {
      return this.trees.find((other) => other.task === tree.task && other.stop === tree.stop + by);
    }
    return this.trees.find((other) => other.row === tree.row && other.no === tree.no + by);
  }
}

async function startBlockMap(map) {
  const content = await unpackContent();
  const view = new BlockView(map, content);
  view.start();
  window.fieldView = view;
  tellReady();
}
