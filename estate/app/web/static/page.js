"use strict";

function watchRun(section) {
  const list = document.getElementById("lines");
  const ask = async () => {
    try {
      const answer = await fetch(section.dataset.poll, { cache: "no-store" });
      const run = await answer.json();
      for (const line of run.lines.slice(list.children.length)) {
        const item = document.createElement("li");
        item.textContent = line;
        list.append(item);
      }
      if (run.state !== "going") {
        location.reload();
        return;
      }
    } catch {
      // The tool was stopped, or is too busy to answer now: ask again.
    }
    setTimeout(ask, 1000);
  };
  ask();
}

function takeDrops(zone) {
  const field = zone.querySelector("input[type=file]");
  for (const kind of ["dragenter", "dragover"]) {
    zone.addEventListener(kind, (event) => {
      event.preventDefault();
      zone.classList.add("over");
    });
  }
  zone.addEventListener("dragleave", () => zone.classList.remove("over"));
  zone.addEventListener("drop", (event) => {
    event.preventDefault();
    zone.classList.remove("over");
    if (event.dataTransfer.files.length === 1) {
      field.files = event.dataTransfer.files;
    }
  });
}

function sayWaiting(form) {
  form.addEventListener("submit", () => {
    form.querySelector(".waiting").hidden = false;
    form.querySelector("button").disabled = true;
  });
}

document.querySelectorAll("[data-poll]").forEach(watchRun);
document.querySelectorAll(".drop").forEach(takeDrops);
document.querySelectorAll("form.send").forEach(sayWaiting);
document.body.dataset.ready = "yes";
