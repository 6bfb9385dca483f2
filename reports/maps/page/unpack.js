"use strict";
// Unpacking what the page carries, and turning whole numbers back into places and words.

const UNITS_PER_DEGREE = 10000000;

// Give what the page is about, or say that this browser can't unpack it.
async function unpackContent() {
  if (!("DecompressionStream" in window)) {
    const message = document.getElementById("message");
    message.textContent = message.dataset.tooOld;
    throw new Error("no DecompressionStream");
  }
  // Fonts that the page brings must be there before labels are drawn and measured with them.
  await Promise.all([...document.fonts].map((font) => font.load()));
  const [content, said] = await Promise.all([unpack("content"), unpack("said")]);
  return { ...content, said };
}

async function unpack(name) {
  const bytes = Uint8Array.from(
    atob(document.getElementById("packed-" + name).textContent), (letter) => letter.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return JSON.parse(await new Response(stream).text());
}

function runningSum(steps) {
  const values = new Array(steps.length);
  let sum = 0;
  for (let place = 0; place < steps.length; place += 1) {
    sum += steps[place];
    values[place] = sum;
  }
  return values;
}

class Earth {
  constructor(frame) {
    this.frame = frame;
  }

  latLng(x, y) {
    return [this.frame.latitude + y / UNITS_PER_DEGREE, this.frame.longitude + x / UNITS_PER_DEGREE];
  }

  line(flat) {
    const points = [];
    let x = 0;
    let y = 0;
    for (let place = 0; place < flat.length; place += 2) {
      x += flat[place];
      y += flat[place + 1];
      points.push(this.latLng(x, y));
    }
    return points;
  }

  lines(many) {
    return many.map((flat) => this.line(flat));
  }

  // Metres east and north between two places, on the ellipsoid's own lengths of a degree here.
  between(from, to) {
    const middle = ((from.lat + to.lat) / 2) * (Math.PI / 180);
    const here = this.frame.latitude * (Math.PI / 180);
    const east = (to.lng - from.lng) * this.frame.east_m * (Math.cos(middle) / Math.cos(here));
    return [east, (to.lat - from.lat) * this.frame.north_m];
  }

  metres(from, to) {
    return Math.hypot(...this.between(from, to));
  }

  squareMetres(ring) {
    let twice = 0;
    const flat = ring.map((point) => this.between(ring[0], point));
    for (let place = 0; place < flat.length; place += 1) {
      const [x0, y0] = flat[place];
      const [x1, y1] = flat[(place + 1) % flat.length];
      twice += x0 * y1 - x1 * y0;
    }
    return Math.abs(twice) / 2;
  }

  // Metres that one screen pixel stands for, east to west, at the map's zoom.
  metresPerPixel(zoom) {
    return (360 / (256 * 2 ** zoom)) * this.frame.east_m;
  }
}

class Wording {
  constructor({ words, language, reviewed, told }) {
    this.words = words;
    this.language = language;
    this.reviewed = reviewed;
    this.told = told;
    // Plain English is written day first, as where rubber grows.
    // One calendar on maps and sheets, whatever the browser's own in that language: readers in Thai
    // count years by the Buddhist era, and see its mark so that no year is taken for another.
    const calendar = language === "th" ? { calendar: "buddhist", era: "short" }
      : { calendar: "gregory" };
    this.dates = new Intl.DateTimeFormat(language === "en" ? "en-GB" : language, {
      ...calendar, year: "numeric", month: "short", day: "numeric", timeZone: "UTC",
    });
  }

  say(name, values) {
    if (!(name in this.words)) {
      throw new Error("no word named " + name);
    }
    return this.words[name].replace(/\{(\w+)\}/g, (_, key) => values[key]);
  }

  // A reason of the plan, or the title of its standard.
  tell(reason) {
    return this.told[reason] || reason;
  }

  number(value, digits = 0) {
    return new Intl.NumberFormat(this.language, {
      minimumFractionDigits: digits, maximumFractionDigits: digits,
    }).format(value);
  }

  perCent(whole) {
    return this.number(whole) + "\u00a0%";
  }

  // A block's share as the plan tells it: [bound, per cent, low, high].
  share([bound, whole]) {
    return bound ? this.say(bound, { number: this.perCent(whole) }) : this.perCent(whole);
  }

  // Near none and near all a whole per cent would say "none" or "all" of what is neither.
  percent(share) {
    if (share > 0 && share < 0.01) {
      return this.share(["under", 1]);
    }
    return this.share(share > 0.99 && share < 1 ? ["over", 99] : ["", Math.round(share * 100)]);
  }

  date(iso) {
    return this.dates.format(new Date(iso + "T00:00:00Z"));
  }

  day(daysFrom1970) {
    return this.dates.format(new Date(daysFrom1970 * 86400000));
  }

  direction(degrees) {
    const names = ["north", "north-east", "east", "south-east", "south", "south-west", "west",
      "north-west"];
    return this.say(names[Math.round((((degrees % 360) + 360) % 360) / 45) % 8] + "_word");
  }
}

// Say that the map is drawn and answers, once the browser has painted it.
function tellReady() {
  requestAnimationFrame(() => setTimeout(() => {
    document.getElementById("message").remove();
    performance.mark("field-map-ready");
    document.body.dataset.ready = "yes";
  }, 0));
}

// An element with attributes and children; text is never read as markup.
function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) {
      element.addEventListener(name.slice(2), value);
    } else if (value === true) {
      element.setAttribute(name, "");
    } else if (value !== false && value !== null && value !== undefined) {
      element.setAttribute(name, value);
    }
  }
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

function drawing(tag, attributes = {}, ...children) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) {
    element.setAttribute(name, value);
  }
  element.append(...children);
  return element;
}
