"use strict";
// The map of the whole cooperative: blocks by decision, and their trees when they are near.

const TREES_FROM_METRES_PER_PIXEL = 0.5;
// In the list, blocks to decide on come before those that are settled.
const DECISION_TURNS = ["open", "measure more", "wait", "in tapping"];

// What stands in a block's ring: its share as it is told, with a sign for under and over.
function gaugeText(view, [bound, whole]) {
  return { under: "<", over: ">", "": "" }[bound] + view.wording.number(whole);
}

class OverviewView extends FieldView {
  constructor(map, content) {
    super(map, content);
    this.shown = {
      ground: content.ground.shade ? "shade" : "plain", blocks: true, holdings: true, trees: true,
      places: true,
    };
    this.only = null;
    this.chosen = null;
    this.treeLayers = new Map();
  }

  start() {
    const { content, map } = this;
    for (const block of content.blocks) {
      block.rings = this.earth.lines(block.lines);
      block.bounds = L.latLngBounds(block.rings.flat());
      block.member = block.holding < 0 ? "" : content.holdings[block.holding].member;
    }
    this.home = L.latLngBounds(content.blocks.flatMap((block) => block.bounds.getCenter()));
    for (const block of content.blocks) {
      this.home.extend(block.bounds);
    }
    map.fitBounds(this.home, { animate: false });
    map.setMinZoom(map.getZoom() - 2);
    map.setMaxBounds(this.home.pad(2));
    this.frame = new FieldFrame(map, this.earth, this.wording, {
      title: content.head.name,
      subtitle: this.say("girths_on", { date: this.wording.date(content.head.on) }),
      home: this.home,
      tally: decisionTally(this),
    });
    this.marks = {
      radius: 3, chosen: null, faded: () => false, stopText: () => "", toTape: () => false,
      sprite: (place, radius) => this.sheetOfMarks.sprite(place, radius),
    };
    map.on("zoomstart zoomend", () => this.sizeMarks());
    this.sizeMarks();
    map.addLayer(this.renderer);
    this.drawGround();
    this.drawBlocks();
    this.measure = new Measure(map, this.renderer, this.earth, this.wording);
    addPages(this);
    map.on("click", (event) => this.tapped(event.latlng));
    map.on("moveend", () => this.bringTrees());
    map.getContainer().addEventListener("keydown", (event) => {
      if (event.key === "Enter" && event.target === map.getContainer()) {
        this.tapped(map.getCenter());
      }
    });
    this.frame.openAtStart("list");
    this.frame.fit(this.home);
  }

  // Show the blocks of one decision only; null for all of them.
  showOnly(decision) {
    this.only = decision;
    for (const button of document.querySelectorAll(".tally button")) {
      button.setAttribute("aria-pressed", String(button.dataset.decision === decision));
    }
    this.repaint();
  }

  sizeMarks() {
    const perPixel = this.earth.metresPerPixel(this.map.getZoom());
    this.marks.radius = Math.round(Math.min(9, Math.max(2, 1.1 / perPixel)) * 4) / 4;
  }

  drawGround() {
    const pane = this.map.createPane("ground");
    pane.style.zIndex = 250;
    const { shade } = this.content.ground;
    this.groundLayer = shade
      ? L.imageOverlay(shade.url, shade.bounds, { pane: "ground", alt: "" }) : null;
    this.setGround(this.shown.ground);
  }

  setGround(name) {
    this.shown.ground = name;
    if (this.groundLayer) {
      this.groundLayer[name === "shade" ? "addTo" : "remove"](this.map);
    }
  }

  // Patterns as well as tints, so that decisions differ in black and white too.
  pattern(style) {
    this.patterns = this.patterns || {};
    if (!this.patterns[style.name]) {
      const tile = document.createElement("canvas");
      tile.width = tile.height = 16;
      const context = tile.getContext("2d");
      context.fillStyle = style.fill;
      context.fillRect(0, 0, 16, 16);
      context.strokeStyle = context.fillStyle = style.edge;
      context.globalAlpha = 0.55;
      context.lineWidth = 1.5;
      context.beginPath();
      if (style.pattern === "slant" || style.pattern === "cross") {
        context.moveTo(-4, 20);
        context.lineTo(20, -4);
        context.moveTo(-4, 4);
        context.lineTo(4, -4);
        context.moveTo(12, 20);
        context.lineTo(20, 12);
      }
      if (style.pattern === "cross") {
        context.moveTo(-4, -4);
        context.lineTo(20, 20);
      }
      context.stroke();
      if (style.pattern === "dots") {
        for (const [x, y] of [[4, 4], [12, 12]]) {
          context.beginPath();
          context.arc(x, y, 1.8, 0, 2 * Math.PI);
          context.fill();
        }
      }
      this.patterns[style.name] = context.createPattern(tile, "repeat");
    }
    return this.patterns[style.name];
  }

  drawBlocks() {
    const { content, earth } = this;
    const { lines } = content.palette;
    this.group("holdings", content.holdings.map((holding) => {
      const layer = new FieldArea(earth.lines(holding.lines), lines.holding);
      layer.paint = function paint(context) {
        const { x, y } = this._rawPxBounds.getSize();
        const width = Math.min(1.6, Math.min(x, y) / 25);
        strokeParts(context, this._parts, { ...lines.holding, width, closed: true });
      };
      return layer;
    }));
    this.group("places", [
      ...content.obstacles.map((thing) => new (thing.area ? FieldArea : FieldLine)(
        earth.lines(thing.lines), lines[thing.kind])),
      ...content.places.map((place) => placeMark(this, place, 0.8)),
    ]);
    this.blockLayers = content.blocks.map((block) => this.blockLayer(block));
    this.group("blocks", this.blockLayers);
    this.treeGroup = L.layerGroup().addTo(this.map);
    this.gaugeLayers = content.blocks.map((block) => this.gaugeLayer(block));
    this.group("gauges", []);
    this.groups.gauges = L.layerGroup(this.gaugeLayers);
    for (const layer of this.gaugeLayers) {
      layer.options.renderer = this.renderer;
    }
    this.groups.gauges.addTo(this.map);
  }

  blockLayer(block) {
    const style = this.content.palette.decisions[block.decision];
    const layer = new FieldArea(block.rings, { stroke: style ? style.edge : "#54504C", width: 2 });
    const view = this;
    layer.paint = function paint(context) {
      context.globalAlpha = view.only && view.only !== block.decision ? 0.15 : 1;
      context.beginPath();
      for (const part of this._parts) {
        part.forEach((point, place) => context[place ? "lineTo" : "moveTo"](point.x, point.y));
        context.closePath();
      }
      context.fillStyle = style && !view.near() ? view.pattern(style) : "#FFFFFF66";
      context.fill("evenodd");
      const box = this._rawPxBounds.getSize();
      const width = view.chosen === block ? 5 : Math.min(2, Math.max(0.5, Math.min(box.x, box.y) / 12));
      strokeParts(context, this._parts, { stroke: this.line.stroke, width, closed: true });
    };
    return layer;
  }

  near() {
    return this.shown.trees
      && this.earth.metresPerPixel(this.map.getZoom()) < TREES_FROM_METRES_PER_PIXEL;
  }

  // A ring round the block's middle: how much of it is fit to tap, from the top clockwise.
  gaugeLayer(block) {
    const view = this;
    return new FieldPoint(block.bounds.getCenter(), (context, at, renderer) => {
      const corner = view.map.latLngToLayerPoint(block.bounds.getNorthEast());
      const other = view.map.latLngToLayerPoint(block.bounds.getSouthWest());
      const room = Math.min(Math.abs(corner.x - other.x), Math.abs(corner.y - other.y));
      const radius = Math.min(22, room / 2 - 7);
      if (view.near()) {
        renderer.ask("name", block.id, [[at.x, corner.y - 10]], { size: 14 });
        return;
      }
      if (view.only && view.only !== block.decision) {
        return;
      }
      if (radius < 9) {
        if (room >= 14) {
          renderer.ask("name", block.id, [[at.x, at.y]]);
        }
        return;
      }
      // A block whose share nobody knows has its name where the ring would be.
      if (block.told === null) {
        renderer.ask("name", block.id, [[at.x, at.y]]);
        return;
      }
      const style = view.content.palette.decisions[block.decision];
      const edge = style ? style.edge : "#54504C";
      const top = -Math.PI / 2;
      context.beginPath();
      context.arc(at.x, at.y, radius + 3, 0, 2 * Math.PI);
      context.fillStyle = "#FFFFFF";
      context.fill();
      context.lineWidth = 1.2;
      context.strokeStyle = edge;
      context.stroke();
      context.beginPath();
      context.arc(at.x, at.y, radius - 1, top, top + 2 * Math.PI * block.share);
      context.lineWidth = 5;
      context.stroke();
      context.beginPath();
      context.arc(at.x, at.y, radius - 5.5, top + 2 * Math.PI * block.low,
        top + 2 * Math.PI * block.high);
      context.lineWidth = 1.8;
      context.strokeStyle = "#1B1517";
      context.stroke();
      if (radius >= 15) {
        renderer.ask("name", block.id, [[at.x, at.y + radius + 12]]);
        context.font = "700 11px " + FIELD_FONT;
        context.textAlign = "center";
        context.textBaseline = "middle";
        context.fillStyle = "#1B1517";
        context.fillText(gaugeText(view, block.told), at.x, at.y);
      }
    });
  }

  async bringTrees() {
    if (!this.near()) {
      this.treeGroup.clearLayers();
      this.treeLayers.clear();
      return;
    }
    const window = this.map.getBounds().pad(0.2);
    const wanted = new Set();
    this.content.blocks.forEach((block, place) => {
      if (window.intersects(block.bounds)) {
        wanted.add(place);
      }
    });
    for (const [place, layer] of this.treeLayers) {
      if (!wanted.has(place)) {
        this.treeGroup.removeLayer(layer);
        this.treeLayers.delete(place);
      }
    }
    for (const place of wanted) {
      if (!this.treeLayers.has(place) && document.getElementById("packed-trees-" + place)) {
        this.treeLayers.set(place, null);
        const layer = this.treeLayer(await unpack("trees-" + place));
        if (this.near() && this.treeLayers.get(place) === null) {
          this.treeLayers.set(place, layer);
          this.treeGroup.addLayer(layer);
        }
      }
    }
  }

  treeLayer(chunk) {
    const x = runningSum(chunk.x);
    const y = runningSum(chunk.y);
    const marks = x.map((value, place) => {
      const mark = new TreeMark(this.earth.latLng(value * 50, y[place] * 50),
        { classPlace: Number(chunk.class[place]), task: -1 }, this.marks);
      mark.options.renderer = this.renderer;
      return mark;
    });
    return L.layerGroup(marks);
  }

  setShown(name, on) {
    this.shown[name] = on;
    if (name === "trees") {
      this.bringTrees();
    } else if (on) {
      this.groups[name].addTo(this.map);
      for (const above of ["holdings", "places", "blocks", "gauges"]) {
        this.groups[above].eachLayer((layer) => layer.bringToFront());
      }
    } else {
      this.groups[name].remove();
    }
    this.repaint();
  }

  tapped(latLng) {
    if (this.measure.on) {
      this.measure.add(latLng);
      return;
    }
    const inside = (ring) => ring.reduce((odd, [lat, lng], place) => {
      const [nextLat, nextLng] = ring[(place + 1) % ring.length];
      const crosses = (lat > latLng.lat) !== (nextLat > latLng.lat)
        && latLng.lng < ((nextLng - lng) * (latLng.lat - lat)) / (nextLat - lat) + lng;
      return crosses ? !odd : odd;
    }, false);
    const hit = this.content.blocks.find((block) => block.bounds.contains(latLng)
      && block.rings.filter(inside).length % 2 === 1);
    if (hit) {
      this.choose(hit, { stay: true });
    }
  }

  choose(block, { stay = false } = {}) {
    this.chosen = block;
    this.frame.open("block", block);
    if (!stay) {
      this.frame.fit(block.bounds.pad(0.6));
    }
    this.repaint();
  }
}

async function startOverviewMap(map) {
  const view = new OverviewView(map, await unpackContent());
  view.start();
  window.fieldView = view;
  tellReady();
}
