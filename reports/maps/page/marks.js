"use strict";
// Drawing on Leaflet's canvas: tree marks, rows with their numbers, walks with arrowheads.

const FIELD_FONT = "system-ui, 'Noto Sans', sans-serif";

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
    context.lineJoin = "round";
    context.lineWidth = (2.2 * 10) / radius;
    context.strokeStyle = mark.halo;
    context.stroke(this.paths[place]);
    context.fillStyle = mark.halo;
    context.fill(this.paths[place], "nonzero");
    context.fillStyle = mark.fill;
    context.fill(this.paths[place], "evenodd");
    context.restore();
  }
}

function writeOnMap(context, text, x, y, { size = 12, ink = "#1B1517", align = "center" } = {}) {
  context.font = "600 " + size + "px " + FIELD_FONT;
  context.textAlign = align;
  context.textBaseline = "middle";
  context.lineJoin = "round";
  context.lineWidth = 4;
  context.strokeStyle = "#FFFFFF";
  context.strokeText(text, x, y);
  context.fillStyle = ink;
  context.fillText(text, x, y);
}

const FieldCanvas = L.Canvas.extend({
  // Leaflet draws through these methods of the renderer; each drawn thing brings its own.
  drawOwn(layer) {
    if (this._drawing && !(layer._empty && layer._empty())) {
      layer.paint(this._ctx);
      this._ctx.globalAlpha = 1;
    }
  },
});

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
    const stop = this.sheet.stopText(this.tree);
    if (stop) {
      writeOnMap(context, stop, x, y + this._radius + 8, { size: 11 });
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
      this.options.label(context, this);
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
      this.options.label(context, this);
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
    this.painter(context, this._point);
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
