"use strict";
// What the map of a block and the map of the whole cooperative do alike.

class FieldView {
  constructor(map, content) {
    this.map = map;
    this.content = content;
    this.earth = new Earth(content.frame);
    this.wording = new Wording(content.said);
    this.sheetOfMarks = new MarkSheet(content.palette.classes);
    this.renderer = new FieldCanvas({ padding: 0.25 });
    this.groups = {};
  }

  say(name, values) {
    return this.wording.say(name, values);
  }

  tell(reason) {
    return this.wording.tell(reason);
  }

  group(name, layers) {
    for (const layer of layers) {
      layer.options.renderer = this.renderer;
    }
    this.groups[name] = L.layerGroup(layers);
    if (this.shown[name]) {
      this.groups[name].addTo(this.map);
    }
  }

  repaint() {
    this.renderer._reset();
    this.renderer._update();
    this.renderer._redraw();
  }
}
