"use strict";
// Measuring lengths and areas by points on the map.

class Measure {
  constructor(map, renderer, earth, wording) {
    this.map = map;
    this.renderer = renderer;
    this.earth = earth;
    this.wording = wording;
    this.points = [];
    this.closed = false;
    this.on = false;
    this.drawn = L.layerGroup();
    this.reading = make("p", { class: "reading", role: "status" });
  }

  start() {
    this.on = true;
    this.drawn.addTo(this.map);
    document.body.classList.add("measuring");
    this.draw();
  }

  stop() {
    this.on = false;
    this.points = [];
    this.closed = false;
    this.drawn.clearLayers().remove();
    document.body.classList.remove("measuring");
  }

  add(latLng) {
    if (this.closed) {
      this.points = [];
      this.closed = false;
    }
    const first = this.points.length > 2 && this.map.latLngToContainerPoint(this.points[0]);
    if (first && first.distanceTo(this.map.latLngToContainerPoint(latLng)) < 24) {
      this.closed = true;
    } else {
      this.points.push(latLng);
    }
    this.draw();
  }

  takeBack() {
    if (this.closed) {
      this.closed = false;
    } else {
      this.points.pop();
    }
    this.draw();
  }

  clear() {
    this.points = [];
    this.closed = false;
    this.draw();
  }

  metres() {
    const way = this.closed ? [...this.points, this.points[0]] : this.points;
    return way.slice(1).reduce((sum, to, place) => sum + this.earth.metres(way[place], to), 0);
  }

  draw() {
    this.drawn.clearLayers();
    const style = { stroke: "#1B1517", width: 3, dash: [] };
    if (this.points.length > 1) {
      const Shape = this.closed ? FieldArea : FieldLine;
      this.drawn.addLayer(new Shape(this.points, style, {
        renderer: this.renderer, casing: true, tint: "#3C17A9", tintAlpha: 0.18,
      }));
    }
    for (const point of this.points) {
      const dot = new FieldPoint(point, (context, at) => {
        context.beginPath();
        context.arc(at.x, at.y, 7, 0, 2 * Math.PI);
        context.fillStyle = "#FFFFFF";
        context.fill();
        context.lineWidth = 3;
        context.strokeStyle = "#1B1517";
        context.stroke();
      });
      dot.options.renderer = this.renderer;
      this.drawn.addLayer(dot);
    }
    this.tell();
  }

  tell() {
    const say = this.wording;
    const metres = this.metres();
    const text = say.number(metres, metres < 100 ? 1 : 0);
    this.reading.textContent = this.closed
      ? say.say("measure_area", {
        hectares: say.number(this.earth.squareMetres(this.points) / 10000, 3), metres: text,
      })
      : say.say("measure_length", { metres: text });
  }

  page() {
    const say = (name) => this.wording.say(name);
    const button = (name, act) => make("button", { class: "plain", type: "button", onclick: act },
      say(name));
    this.start();
    return [
      make("p", {}, say("measure_hint")),
      this.reading,
      make("div", { class: "row-of-buttons" },
        button("measure_middle", () => this.add(this.map.getCenter())),
        button("measure_undo", () => this.takeBack()),
        button("measure_clear", () => this.clear())),
    ];
  }
}
