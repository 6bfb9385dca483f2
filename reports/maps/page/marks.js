"use strict";
// Drawing on Leaflet's canvas: tree marks, rows with their numbers, walks with arrowheads.

const FIELD_FONT = "system-ui, 'Noto Sans', 'Noto Sans Thai', 'Noto Sans Malayalam', sans-serif";

const HALO_FROM_RADIUS = 4;

class MarkSheet {
  constructor(marks) {
    this.marks = marks;
    this.paths = marks.map((mark) => new Path2D(mark.path));
    this.drawn = new Map();
  }

  // A small canvas with one mark, drawn once for each size and used for every tree.
  sprite(place, radius) {
    const key = place + "/" + radius;
    let sprite = this.drawn.get(key);
    if (!sprite) {
      const side = Math.ceil((radius + 1.5) * 2);
      sprite = document.createElement("canvas");
      sprite.width = sprite.height = side * 3;
      sprite.side = side;
      this.paint(sprite.getContext("2d"), place, radius, side * 1.5, side * 1.5, 3);
      this.drawn.set(key, sprite);
    }
    return sprite;
  }

  paint(context, place, radius, x, y, scale) {
    const mark = this.marks[place];
    context.save();
    context.translate(x, y);
    context.scale((scale * radius) / 10, (scale * radius) / 10);
    // Marks that stand close together would hide each other and the walks under their halos.
    if (radius >= HALO_FROM_RADIUS) {
      context.lineJoin = "round";
      context.lineWidth = (2.2 * 10) / radius;
      context.strokeStyle = mark.halo;
      context.stroke(this.paths[place]);
      context.fillStyle = mark.halo;
      context.fill(this.paths[place], "nonzero");
    }
    context.fillStyle = mark.fill;
    context.fill(this.paths[place], "evenodd");
    context.restore();
  }
}

// Labels are placed after everything is drawn, the most needed first, and none over another.
const LABEL_RANKS = { flag: 0, place: 1, name: 2, row: 3, stop: 4, height: 5 };

const FieldCanvas = L.Canvas.extend({
  initialize(options) {
    L.Canvas.prototype.initialize.call(this, options);
    this.asked = [];
    this.placed = [];
  },

  // The whole canvas is drawn at once, so that labels know of each other.
  _extendRedrawBounds() {},

  _draw() {
    this.asked = [];
    L.Canvas.prototype._draw.call(this);
    this.placeLabels(this._ctx);
  },

  // Leaflet draws through this method of the renderer; each drawn thing brings its own paint.
  drawOwn(layer) {
    if (this._drawing && layer._pxBounds && this._bounds.intersects(layer._pxBounds)) {
      layer.paint(this._ctx);
      this._ctx.globalAlpha = 1;
    }
  },

  // Ask for a label at the first of some spots where it covers no other.
  ask(kind, text, spots, look = {}) {
    this.asked.push({ kind, text, spots, look: { size: 12, ink: "#1B1517", ...look } });
  },

  placeLabels(context) {
    this.placed = [];
    this.asked.sort((one, other) => LABEL_RANKS[one.kind] - LABEL_RANKS[other.kind]);
    for (const label of this.asked) {
      const { size } = label.look;
      context.font = (label.kind === "flag" ? "700 " : "600 ") + size + "px " + FIELD_FONT;
      const half = context.measureText(label.text).width / 2 + (label.kind === "flag" ? 9 : 3);
      const tall = label.kind === "flag" ? 12 : size * 0.6;
      const spot = label.spots.find(([x, y]) => this.isFree(x, y, half, tall));
      if (spot) {
        this.placed.push({ kind: label.kind, text: label.text, x: spot[0], y: spot[1], half, tall });
        if (label.kind === "flag") {
          paintFlag(context, label, spot, half);
        } else {
          writeOnMap(context, label, spot);
        }
      }
    }
  },

  isFree(x, y, half, tall) {
    return this._bounds.contains([x, y]) && !this.placed.some((other) =>
      Math.abs(other.x - x) < other.half + half && Math.abs(other.y - y) < other.tall + tall);
  },
});

function writeOnMap(context, { text, look }, [x, y]) {
  context.textAlign = "center";
  context.textBaseline = "middle";
  context.lineJoin = "round";
  context.lineWidth = 4;
  context.strokeStyle = "#FFFFFF";
  context.strokeText(text, x, y);
  context.fillStyle = look.ink;
  context.fillText(text, x, y);
}

// The flag that stands at the start of a task; its tail points to the tree.
function paintFlag(context, { text, look }, [x, y], half) {
  context.save();
  context.translate(x, y);
  context.beginPath();
  context.moveTo(-half, -11);
  context.lineTo(half, -11);
  context.lineTo(half - 5, 11);
  context.lineTo(-half, 11);
  context.closePath();
  context.lineJoin = "round";
  context.fillStyle = look.ink;
  context.strokeStyle = "#FFFFFF";
  context.lineWidth = 3;
  context.stroke();
  context.fill();
  context.beginPath();
  context.moveTo(look.pointX - x, look.pointY - y);
  context.lineTo(look.pointX - x, look.pointY - y > 0 ? 11 : -11);
  context.lineWidth = 3;
  context.strokeStyle = look.ink;
  context.stroke();
  context.fillStyle = "#FFFFFF";
  context.textAlign = "center";
  context.textBaseline = "middle";
  context.fillText(text, -1, 1);
  context.restore();
}

const TreeMark = L.CircleMarker.extend({
  initialize(latLng, tree, sheet) {
    L.CircleMarker.prototype.initialize.call(this, latLng, { interactive: false, radius: 5 });
    this.tree = tree;
    this.sheet = sheet;
  },

  _project() {
    this._radius = this.sheet.radius;
    L.CircleMarker.prototype._project.call(this);
  },

  _updatePath() {
    this._renderer.drawOwn(this);
  },

  paint(context) {
    const { x, y } = this._point;
    const sprite = this.sheet.sprite(this.tree.classPlace, this._radius);
    context.globalAlpha = this.sheet.faded(this.tree) ? 0.35 : 1;
    context.drawImage(sprite, x - sprite.side / 2, y - sprite.side / 2, sprite.side, sprite.side);
    if (this.sheet.toTape(this.tree)) {
      paintBrackets(context, x, y, Math.max(5, this._radius + 3));
    }
    const stop = this.sheet.stopText(this.tree);
    if (stop) {
      this._renderer.ask("stop", stop, [[x, y + this._radius + 9], [x, y - this._radius - 9]]);
    }
    if (this.sheet.chosen === this.tree) {
      context.globalAlpha = 1;
      context.strokeStyle = "#FFFFFF";
      context.lineWidth = 7;
      context.beginPath();
      context.arc(x, y, this._radius + 7, 0, 2 * Math.PI);
      context.stroke();
      context.strokeStyle = "#1B1517";
      context.lineWidth = 3.5;
      context.stroke();
    }
  },
});

// Four corners round a tree that is to be taped.
function paintBrackets(context, x, y, reach) {
  const arm = reach * 0.45;
  context.beginPath();
  for (const [right, down] of [[-1, -1], [1, -1], [1, 1], [-1, 1]]) {
    context.moveTo(x + right * (reach - arm), y + down * reach);
    context.lineTo(x + right * reach, y + down * reach);
    context.lineTo(x + right * reach, y + down * (reach - arm));
  }
  context.lineCap = "square";
  for (const [stroke, width] of [["#FFFFFF", 5], ["#1B1517", 2.4]]) {
    context.strokeStyle = stroke;
    context.lineWidth = width;
    context.stroke();
  }
}

function strokeParts(context, parts, { stroke, width, dash = [], closed = false }) {
  context.beginPath();
  for (const part of parts) {
    part.forEach((point, place) => {
      context[place ? "lineTo" : "moveTo"](point.x, point.y);
    });
    if (closed) {
      context.closePath();
    }
  }
  context.setLineDash(dash.map((length) => length * width));
  context.lineCap = dash.length ? "butt" : "round";
  context.lineJoin = "round";
  context.strokeStyle = stroke;
  context.lineWidth = width;
  context.stroke();
  context.setLineDash([]);
}

const FieldLine = L.Polyline.extend({
  initialize(latLngs, style, more = {}) {
    L.Polyline.prototype.initialize.call(this, latLngs, {
      interactive: false, smoothFactor: 0.5, weight: 12, ...more,
    });
    this.line = style;
  },

  _updatePath() {
    this._renderer.drawOwn(this);
  },

  paint(context) {
    if (this.options.casing) {
      strokeParts(context, this._parts, { stroke: "#FFFFFF", width: this.line.width + 3 });
    }
    strokeParts(context, this._parts, this.line);
    if (this.options.label) {
      this.options.label(this);
    }
  },
});

// Arrowheads along a walk, evenly spaced on the screen, so that direction shows at any zoom.
function paintArrowheads(context, parts, stroke, every, size = 1) {
  let left = every / 2;
  for (const part of parts) {
    for (let place = 1; place < part.length; place += 1) {
      const from = part[place - 1];
      const to = part[place];
      const length = Math.hypot(to.x - from.x, to.y - from.y);
      const turn = Math.atan2(to.y - from.y, to.x - from.x);
      while (left < length) {
        context.save();
        context.translate(from.x + ((to.x - from.x) * left) / length,
          from.y + ((to.y - from.y) * left) / length);
        context.rotate(turn);
        context.scale(size, size);
        context.beginPath();
        context.moveTo(7, 0);
        context.lineTo(-5, -6);
        context.lineTo(-2, 0);
        context.lineTo(-5, 6);
        context.closePath();
        context.lineWidth = 3;
        context.strokeStyle = "#FFFFFF";
        context.stroke();
        context.fillStyle = stroke;
        context.fill();
        context.restore();
        left += every;
      }
      left -= length;
    }
  }
}

const FieldArea = L.Polygon.extend({
  initialize(latLngs, style, more = {}) {
    L.Polygon.prototype.initialize.call(this, latLngs, {
      interactive: false, smoothFactor: 0.5, weight: 12, ...more,
    });
    this.line = style;
  },

  _updatePath() {
    this._renderer.drawOwn(this);
  },

  paint(context) {
    if (this.options.tint) {
      context.beginPath();
      for (const part of this._parts) {
        part.forEach((point, place) => context[place ? "lineTo" : "moveTo"](point.x, point.y));
        context.closePath();
      }
      context.globalAlpha = this.options.tintAlpha || 1;
      context.fillStyle = this.options.tint;
      context.fill("evenodd");
      context.globalAlpha = 1;
    }
    strokeParts(context, this._parts, { ...this.line, closed: true });
    if (this.options.label) {
      this.options.label(this);
    }
  },
});

const FieldPoint = L.CircleMarker.extend({
  initialize(latLng, painter) {
    L.CircleMarker.prototype.initialize.call(this, latLng, { interactive: false, radius: 40 });
    this.painter = painter;
  },

  _updatePath() {
    this._renderer.drawOwn(this);
  },

  paint(context) {
    this.painter(context, this._point, this._renderer);
  },
});

function markPicture(mark, size = 26) {
  const picture = drawing("svg", {
    viewBox: "-11 -11 22 22", width: size, height: size, "aria-hidden": "true", class: "mark",
  });
  picture.append(drawing("path", { d: mark.path, fill: mark.fill, "fill-rule": "evenodd" }));
  return picture;
}

function linePicture(style, arrow = false) {
  const picture = drawing("svg", {
    viewBox: "0 0 44 18", width: 44, height: 18, "aria-hidden": "true", class: "mark",
  });
  picture.append(drawing("path", {
    d: "M2 9 L42 9", stroke: style.stroke, "stroke-width": Math.min(style.width, 4), fill: "none",
    "stroke-dasharray": style.dash.map((length) => length * style.width).join(" "),
  }));
  if (arrow) {
    picture.append(drawing("path", { d: "M29 9 L17 3 L20 9 L17 15 Z", fill: style.stroke }));
  }
  return picture;
}

// Where a place is on the map: its mark with a halo, in pixels from the place.
function placeMark(view, place, scale, then = () => {}) {
  const mark = view.content.palette.places[place.kind];
  const path = new Path2D(mark.path);
  return new FieldPoint(view.earth.latLng(place.x, place.y), (context, at, renderer) => {
    context.save();
    context.translate(at.x, at.y);
    context.scale(scale, scale);
    context.lineWidth = 5;
    context.lineJoin = "round";
    context.strokeStyle = mark.halo;
    context.stroke(path);
    context.fillStyle = mark.fill;
    context.fill(path, "evenodd");
    context.restore();
    then(at, renderer);
  });
}
