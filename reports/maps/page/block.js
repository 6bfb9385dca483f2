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
    this.stand = new BlockStand(content, this.earth);
    this.trees = this.stand.trees;
    this.doubts = this.stand.doubts;
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
    this.treeGap = this.stand.nearestGap();
    this.marks = this.markSettings();
    map.on("zoomstart zoomend", () => this.sizeMarks());
    this.sizeMarks();
    map.addLayer(this.renderer);
    drawGround(this);
    drawLines(this, edge);
    drawTrees(this);
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

  setGround(name) {
    this.shown.ground = name;
    const { ground, palette } = this.content;
    const ramps = {
      slope: ["slope_deg", palette.slope.steps, palette.slope.breaks],
      girth: ["girth_cm", palette.girth.steps, ground.girth_breaks],
    };
    this.frame.showRamp(...(ramps[name] && ground[name]
      ? [this.say(ramps[name][0]), ...ramps[name].slice(1)] : [null, [], []]));
    for (const [key, layer] of Object.entries(this.groundLayers)) {
      if (key === name) {
        layer.addTo(this.map);
      } else {
        layer.remove();
      }
    }
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

}

async function startBlockMap(map) {
  const content = await unpackContent();
  const view = new BlockView(map, content);
  view.start();
  window.fieldView = view;
  tellReady();
}
