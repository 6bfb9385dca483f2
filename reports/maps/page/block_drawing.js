"use strict";
// How a block is drawn: its ground, lines, places, walks, trees and points in doubt.

function drawGround(view) {
  const pane = view.map.createPane("ground");
  pane.style.zIndex = 250;
  view.groundLayers = {};
  for (const name of ["shade", "slope", "girth"]) {
    const picture = view.content.ground[name];
    if (picture) {
      view.groundLayers[name] = L.imageOverlay(picture.url, picture.bounds, {
        pane: "ground", opacity: name === "girth" ? 0.85 : 1, alt: "",
      });
    }
  }
  view.setGround(view.shown.ground);
}

function drawLines(view, edge) {
  const { content, earth } = view;
  const { lines } = content.palette;
  const heightLabel = (text) => (layer) => {
    const part = layer._parts[0];
    if (part && part.length > 1) {
      const spots = [0.5, 0.25, 0.75].map((share) => part[Math.floor(part.length * share)]);
      layer._renderer.ask("height", text, spots.map((at) => [at.x, at.y]),
        { size: 11, ink: "#6B4F33" });
    }
  };
  view.group("contours", (content.ground.contours || []).map((contour) =>
    new FieldLine(earth.lines(contour.lines), lines.contour, {
      label: heightLabel(
        view.wording.number(contour.m, content.ground.contour_m < 1 ? 1 : 0)),
    })));
  view.group("holdings", [
    ...content.neighbours.map((block) => new FieldArea(earth.lines(block.lines),
      { ...lines.block, width: 1 }, { label: nameOf(block.id) })),
    ...content.holdings.map((holding) => new FieldArea(earth.lines(holding.lines),
      lines.holding)),
    new FieldArea(edge, { ...lines.block, width: 2.4 }),
  ]);
  view.group("rows", content.rows.map((row) => new FieldLine(earth.lines(row.lines), lines.row, {
    label: (layer) => rowLabel(view, layer, row),
  })));
  view.group("places", [
    ...content.obstacles.map((thing) => thing.area
      ? new FieldArea(earth.lines(thing.lines), lines[thing.kind], {
        tint: lines[thing.kind].stroke, tintAlpha: 0.2,
      })
      : new FieldLine(earth.lines(thing.lines), lines[thing.kind], { casing: true })),
    ...content.places.map((place) => namedPlace(view, place)),
  ]);
  view.walkLayers = content.tasks.map((task, place) => walkLayer(view, task, place));
  view.group("walks", view.walkLayers);
}

function nameOf(text) {
  return (layer) => {
    if (layer._parts.length) {
      const at = L.bounds(layer._parts.flat()).getCenter();
      layer._renderer.ask("name", text, [[at.x, at.y]], { size: 13, ink: "#54504C" });
    }
  };
}

function rowLabel(view, layer, row) {
  const points = layer._rings ? layer._rings.flat() : [];
  if (view.marks.radius < 4 || points.length < 2) {
    return;
  }
  const ends = [[points[0], points[1]], [points[points.length - 1], points[points.length - 2]]];
  for (const [end, inner] of ends) {
    const length = Math.hypot(end.x - inner.x, end.y - inner.y) || 1;
    const away = view.marks.radius + 16;
    const at = [end.x + ((end.x - inner.x) / length) * away,
      end.y + ((end.y - inner.y) / length) * away];
    layer._renderer.ask("row", view.say("row_short", { row: row.no }), [at], { ink: "#54504C" });
  }
}

function namedPlace(view, place) {
  return placeMark(view, place, 1, (at, renderer) => {
    if (place.name) {
      renderer.ask("place", place.name, [[at.x, at.y + 20], [at.x, at.y - 20]]);
    }
  });
}

function walkLayer(view, task, place) {
  const layer = new FieldLine(view.earth.lines(task.lines), task.style, { casing: true });
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

// The flag at a task's first tree here, above the marks so that none hides it.
function startLayer(view, task, place) {
  return new FieldPoint(view.stand.firstOf(place).at, (context, at, renderer) => {
    if (view.taskShown < 0 || view.taskShown === place) {
      const off = view.marks.radius + 22;
      renderer.ask("flag", task.id, [
        [at.x, at.y - off], [at.x, at.y + off], [at.x, at.y - off - 26], [at.x, at.y + off + 26],
      ], { size: 13, ink: task.style.stroke, pointX: at.x, pointY: at.y });
    }
  });
}

function drawTrees(view) {
  const marks = view.trees.map((tree) => {
    const mark = new TreeMark(tree.at, tree, view.marks);
    tree.mark = mark;
    return mark;
  });
  view.group("trees", marks);
  view.starts = view.content.tasks.map((task, place) => startLayer(view, task, place));
  view.group("starts", view.starts);
  view.group("doubts", view.doubts.flatMap((doubt) => doubtLayers(view, doubt)));
}

function doubtLayers(view, doubt) {
  const style = view.content.palette.lines.doubt;
  const arrow = (place, dash, width) => {
    if (place < 0) {
      return [];
    }
    const line = new FieldLine([doubt.at, view.trees[place].at], { ...style, dash, width });
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

