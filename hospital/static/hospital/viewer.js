// A diagnostic image in a canvas: window and level, zoom and move, points for what is measured. Values are worked out by
// the hospital's server; here nothing is measured. Without this file the picture is shown as its file asked for.
(() => {
  "use strict";
  const DRAG_PX = 6; // a hand that moves less than this has clicked
  const limited = (value, least, most) => Math.min(Math.max(value, least), most);

  const viewer = (root) => {
    const canvas = root.querySelector("canvas");
    const context = canvas.getContext("2d");
    const picture = root.querySelector("img");
    const says = root.querySelector("[data-says]");
    const level = root.querySelector("[data-level]");
    const width = root.querySelector("[data-width-of-window]");
    const number = (name) => Number(root.dataset[name]);
    const size = { x: number("width"), y: number("height") };
    const full = { low: number("lowest"), high: Math.max(number("highest"), number("lowest") + 1) };
    const stored = { low: number("low"), high: number("high") };
    const range = Math.max(full.high, stored.high) - Math.min(full.low, stored.low);
    const sheet = new OffscreenCanvas(size.x, size.y);
    const sheetContext = sheet.getContext("2d");
    let source; // grey levels of 16 bits, or colours as red, green, blue, opacity
    let shown; // what is painted on the sheet
    let window_ = { ...stored };
    let tool = "window";
    let needed = 0;
    let points = [];
    let at = { scale: 1, x: 0, y: 0 }; // of the picture in the canvas, in the screen's own pixels
    let cross = { x: size.x / 2, y: size.y / 2 };
    let isCrossShown = false;
    let waiting = false;
    let told = ""; // what was last said to, or heard from, the picture beside it

    const say = (name, told = {}) => {
      says.textContent = root.dataset[name].replace(/\{(\w+)\}/g, (_, key) => told[key]);
    };

    const paint = () => {
      const scale = 255 / (window_.high - window_.low);
      const grey = (value) => limited((value - window_.low) * scale, 0, 255);
      if (source instanceof Uint16Array) {
        const table = new Uint8ClampedArray(65536).map((_, value) => grey(value));
        const pixels = new Uint32Array(shown.data.buffer);
        for (let i = 0; i < pixels.length; i += 1) pixels[i] = 0xff000000 | (table[source[i]] * 0x010101);
      } else {
        const table = new Uint8ClampedArray(256).map((_, value) => grey(value));
        for (let i = 0; i < source.length; i += 1) shown.data[i] = i % 4 === 3 ? 255 : table[source[i]];
      }
      sheetContext.putImageData(shown, 0, 0);
    };

    const onScreen = (point) => ({ x: at.x + point.x * at.scale, y: at.y + point.y * at.scale });
    const onPicture = (point) => ({
      x: limited((point.x - at.x) / at.scale, 0, size.x),
      y: limited((point.y - at.y) / at.scale, 0, size.y),
    });
    const ratio = () => canvas.width / canvas.clientWidth;

    // The words stand beside the last point; those of an angle at its corner.
    const line = (dots, words, colour) => {
      const places = dots.map(onScreen);
      const unit = ratio();
      for (const [wide, ink] of [[5 * unit, "#000"], [2 * unit, colour]]) { // a dark edge, so that it stands out on bone too
        context.lineWidth = wide;
        context.strokeStyle = ink;
        context.beginPath();
        places.forEach((place) => context.lineTo(place.x, place.y));
        context.stroke();
        places.forEach((place) => {
          context.beginPath();
          context.arc(place.x, place.y, 4 * unit, 0, 7);
          context.stroke();
        });
      }
      if (!words) return;
      const last = places[Math.min(1, places.length - 1)];
      context.font = `bold ${16 * unit}px sans-serif`;
      context.lineWidth = 4 * unit;
      context.strokeStyle = "#000";
      context.strokeText(words, last.x + 10 * unit, last.y - 8 * unit);
      context.fillStyle = colour;
      context.fillText(words, last.x + 10 * unit, last.y - 8 * unit);
    };

    const drawnRows = () => (root.parentElement.querySelectorAll("[data-drawn]"));

    const show = () => {
      waiting = false;
      context.fillStyle = "#000";
      context.fillRect(0, 0, canvas.width, canvas.height);
      context.imageSmoothingEnabled = at.scale < 2;
      context.drawImage(sheet, at.x, at.y, size.x * at.scale, size.y * at.scale);
      drawnRows().forEach((row) => {
        line(JSON.parse(row.dataset.points).map(([x, y]) => ({ x: x / 10, y: y / 10 })), row.dataset.value, "#ffd75e");
      });
      if (points.length) line(points, "", "#7fe0ff");
      if (isCrossShown) line([cross], "+", "#7fe0ff");
      tellBeside();
    };
    const soon = (work) => {
      if (work) work();
      if (!waiting) requestAnimationFrame(show);
      waiting = true;
    };

    const fit = () => {
      const scale = Math.min(canvas.width / size.x, canvas.height / size.y);
      at = { scale, x: (canvas.width - size.x * scale) / 2, y: (canvas.height - size.y * scale) / 2 };
    };
    const zoom = (factor, around = { x: canvas.width / 2, y: canvas.height / 2 }) => {
      const scale = limited(at.scale * factor, 0.02, 40);
      at = {
        scale,
        x: around.x - (around.x - at.x) * (scale / at.scale),
        y: around.y - (around.y - at.y) * (scale / at.scale),
      };
    };
    const fill = () => {
      const unit = window.devicePixelRatio || 1;
      canvas.width = Math.round(canvas.clientWidth * unit);
      canvas.height = Math.round(canvas.clientHeight * unit);
      fit();
      soon();
    };

    // --- two side by side --------------------------------------------------------------------------------------------

    // In shares, because two dates seldom have the same size and levels: of the whole picture, and from the stored window.
    const fitting = () => Math.min(canvas.width / size.x, canvas.height / size.y);
    const stands = () => ({
      zoom: at.scale / fitting(),
      x: (canvas.width / 2 - at.x) / at.scale / size.x,
      y: (canvas.height / 2 - at.y) / at.scale / size.y,
      level: (centre() - (stored.low + stored.high) / 2) / range,
      width: wide() / (stored.high - stored.low),
    });
    const tellBeside = () => {
      const now = stands();
      const words = JSON.stringify(now);
      if (words === told) return;
      told = words;
      root.dispatchEvent(new CustomEvent("viewer:moved", { bubbles: true, detail: now }));
    };
    const follow = (other) => {
      if (!("isReady" in root.dataset)) return;
      at.scale = other.zoom * fitting();
      at.x = canvas.width / 2 - other.x * size.x * at.scale;
      at.y = canvas.height / 2 - other.y * size.y * at.scale;
      setWindow((stored.low + stored.high) / 2 + other.level * range, other.width * (stored.high - stored.low));
      told = JSON.stringify(stands());
    };

    const setWindow = (centre, wide) => {
      const half = limited(wide, 1, range) / 2;
      window_ = { low: centre - half, high: centre + half };
      level.value = centre;
      width.value = half * 2;
      const told = { level: Math.round(centre), width: Math.round(half * 2) };
      level.setAttribute("aria-valuetext", String(told.level));
      width.setAttribute("aria-valuetext", String(told.width));
      say("sayWindow", told);
      soon(paint);
    };
    const centre = () => (window_.low + window_.high) / 2;
    const wide = () => window_.high - window_.low;
    const preset = ({ low, high }) => setWindow((low + high) / 2, high - low);

    // --- points ------------------------------------------------------------------------------------------------------

    const form = () => document.getElementById("draw-form");
    const tellForm = () => {
      const box = form();
      if (!box) return;
      box.hidden = !needed;
      box.elements.kind.value = tool;
      box.elements.points.value = JSON.stringify(points.map(({ x, y }) => [Math.round(x * 10), Math.round(y * 10)]));
      box.querySelectorAll("[data-for]").forEach((part) => { part.hidden = !part.dataset.for.split(" ").includes(tool); });
      box.querySelector(".button").disabled = points.length < needed;
    };
    const tellPoints = () => {
      tellForm();
      if (!needed) return;
      if (points.length < needed) say("sayNext", { n: points.length + 1, all: needed });
      else say("sayReady");
    };
    const begin = () => {
      points = [];
      tellPoints();
      soon();
    };
    const setPoint = (point) => {
      if (points.length >= needed) points = [];
      points.push(point);
      tellPoints();
      soon();
    };
    const choose = (button) => {
      tool = button.dataset.tool;
      needed = Number(button.dataset.points || 0);
      isCrossShown = false;
      root.querySelectorAll("[data-tool]").forEach((each) => {
        each.setAttribute("aria-checked", String(each === button));
        each.tabIndex = each === button ? 0 : -1;
      });
      begin();
    };

    // --- hand, wheel and keys ----------------------------------------------------------------------------------------

    const fingers = new Map();
    let pressedAt;
    const place = (event) => ({ x: event.offsetX * ratio(), y: event.offsetY * ratio() });
    const spread = () => {
      const [one, two] = [...fingers.values()];
      return { far: Math.hypot(one.x - two.x, one.y - two.y), x: (one.x + two.x) / 2, y: (one.y + two.y) / 2 };
    };

    canvas.addEventListener("pointerdown", (event) => {
      canvas.setPointerCapture(event.pointerId);
      fingers.set(event.pointerId, place(event));
      isCrossShown = false;
      if (fingers.size === 2 && pressedAt?.isPoint) begin(); // the first finger of a pinch had set a point
      pressedAt = fingers.size === 1 ? { ...place(event), isPoint: needed > 0 } : undefined;
      if (pressedAt?.isPoint) setPoint(onPicture(pressedAt));
    });
    canvas.addEventListener("pointermove", (event) => {
      const before = fingers.get(event.pointerId);
      if (!before) return;
      const now = place(event);
      if (fingers.size === 2) {
        const was = spread();
        fingers.set(event.pointerId, now);
        const is = spread();
        soon(() => {
          zoom(is.far / was.far, is);
          at.x += is.x - was.x;
          at.y += is.y - was.y;
        });
        return;
      }
      fingers.set(event.pointerId, now);
      if (tool === "window") {
        setWindow(centre() + ((now.y - before.y) * range) / canvas.height, wide() + ((now.x - before.x) * range) / canvas.width);
      } else if (tool === "move") {
        soon(() => {
          at.x += now.x - before.x;
          at.y += now.y - before.y;
        });
      }
    });
    const lifted = (event) => {
      if (!fingers.delete(event.pointerId) || !pressedAt?.isPoint || event.type === "pointercancel") return;
      const now = place(event);
      const moved = Math.hypot(now.x - pressedAt.x, now.y - pressedAt.y);
      if (moved > DRAG_PX * ratio() && points.length < needed) setPoint(onPicture(now));
      pressedAt = undefined;
    };
    canvas.addEventListener("pointerup", lifted);
    canvas.addEventListener("pointercancel", lifted);
    canvas.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && document.activeElement !== canvas) return; // else the page could not be scrolled past it
      event.preventDefault();
      soon(() => zoom(event.deltaY < 0 ? 1.15 : 1 / 1.15, place(event)));
    }, { passive: false });

    const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const byArrow = ([x, y], isFar) => {
      if (!needed) {
        at.x -= x * 40;
        at.y -= y * 40;
        return;
      }
      const step = (isFar ? 20 : 1) * Math.max(1, 1 / at.scale);
      cross = { x: limited(cross.x + x * step, 0, size.x), y: limited(cross.y + y * step, 0, size.y) };
      isCrossShown = true;
    };
    const KEYS = {
      "+": () => soon(() => zoom(1.25)),
      "=": () => soon(() => zoom(1.25)),
      "-": () => soon(() => zoom(0.8)),
      "0": () => soon(fit),
      ",": () => setWindow(centre() - range / 50, wide()),
      ".": () => setWindow(centre() + range / 50, wide()),
      "<": () => setWindow(centre(), wide() - range / 50),
      ">": () => setWindow(centre(), wide() + range / 50),
      Enter: () => needed && setPoint({ ...cross }),
      Escape: begin,
    };
    canvas.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey) return;
      const arrow = ARROWS[event.key];
      const key = KEYS[event.key];
      if (!arrow && !key) return;
      event.preventDefault();
      if (arrow) soon(() => byArrow(arrow, event.shiftKey));
      else key();
    });

    root.querySelectorAll("[data-tool]").forEach((button) => button.addEventListener("click", () => choose(button)));
    root.querySelector("[data-tools]").addEventListener("keydown", (event) => {
      const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
      const buttons = [...root.querySelectorAll("[data-tool]")];
      const next = buttons[(buttons.indexOf(event.target) + (step || 0) + buttons.length) % buttons.length];
      if (!step) return;
      event.preventDefault();
      choose(next);
      next.focus();
    });
    root.querySelectorAll("[data-preset]").forEach((button) => {
      button.addEventListener("click", () => preset(button.dataset.preset === "full" ? full : stored));
    });
    root.querySelectorAll("[data-zoom]").forEach((button) => button.addEventListener("click", () => {
      soon(() => (button.dataset.zoom === "fit" ? fit() : zoom(button.dataset.zoom === "in" ? 1.25 : 0.8)));
    }));
    level.addEventListener("input", () => setWindow(Number(level.value), wide()));
    width.addEventListener("input", () => setWindow(centre(), Number(width.value)));
    document.addEventListener("htmx:afterSettle", (event) => {
      if (event.target.id !== "drawn") return;
      if (!event.target.querySelector("[data-error-summary]")) points = [];
      tellPoints();
      soon();
    });

    // --- loading -----------------------------------------------------------------------------------------------------

    const load = async () => {
      if (root.dataset.levels) {
        const answer = await fetch(root.dataset.levels);
        if (!answer.ok) throw new Error(String(answer.status));
        source = new Uint16Array(await answer.arrayBuffer());
        if (source.length !== size.x * size.y) throw new Error("levels");
        shown = sheetContext.createImageData(size.x, size.y);
      } else {
        await picture.decode();
        sheetContext.drawImage(picture, 0, 0, size.x, size.y);
        shown = sheetContext.getImageData(0, 0, size.x, size.y);
        source = shown.data.slice();
      }
    };
    const start = () => {
      canvas.parentElement.style.aspectRatio = String(Math.min(size.x / size.y, 1.4)); // a wide picture needs room on a phone too
      picture.hidden = true;
      for (const part of [canvas, ...root.querySelectorAll("[data-tools], [data-controls]")]) part.hidden = false;
      level.min = Math.min(full.low, stored.low);
      level.max = Math.max(full.high, stored.high);
      width.min = 1;
      width.max = range;
      new ResizeObserver(fill).observe(canvas.parentElement);
      choose(root.querySelector("[data-tool]"));
      fill();
      preset(stored);
      told = JSON.stringify(stands());
      root.dataset.isReady = "";
    };
    say("sayBusy");
    load().then(start, () => say("sayFailed"));
    return { root, follow, stands };
  };

  const viewers = [...document.querySelectorAll("[data-viewer]")].map(viewer);

  const link = document.querySelector("[data-link-viewers]");
  if (link) {
    const others = (moved) => viewers.filter((each) => each.root !== moved);
    link.closest("[data-link]").hidden = false;
    link.addEventListener("change", () => {
      if (link.checked) others(viewers[0].root).forEach((each) => each.follow(viewers[0].stands()));
    });
    document.addEventListener("viewer:moved", (event) => {
      if (link.checked) others(event.target).forEach((each) => each.follow(event.detail));
    });
  }
})();
