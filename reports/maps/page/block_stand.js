"use strict";
// What stands on a block: its trees, their panels and the points in doubt, read from the columns.

class BlockStand {
  constructor(content, earth) {
    this.content = content;
    this.earth = earth;
    this.trees = this.readTrees();
    this.doubts = content.doubts.map((doubt) => ({
      id: doubt[0], at: earth.latLng(doubt[1], doubt[2]), tree: doubt[3], share: doubt[4],
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

  // Metres between neighbours in a row.
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

  // A task's first tree in this block; a task may begin in another one.
  firstOf(place) {
    return this.trees.reduce((first, tree) =>
      (tree.task === place && (!first || tree.stop < first.stop) ? tree : first), null);
  }

  // The tree before or after in the walk; in the row where it isn't in a walk.
  beside(tree, by) {
    if (tree.task >= 0) {
      return this.trees.find((other) => other.task === tree.task && other.stop === tree.stop + by);
    }
    return this.trees.find((other) => other.row === tree.row && other.no === tree.no + by);
  }
}
