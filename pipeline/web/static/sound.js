"use strict";
// Plays a stretch from a little before to a little after; once more plays it slower; the strip shows where.

const Sound = (() => {
  const deck = document.getElementById("deck");
  const before = Number(deck.dataset.before);
  const after = Number(deck.dataset.after);
  const players = new Map();
  const strips = new Map();
  const SLOW = 0.75;
  const PER_S = 20;
  const WIDE_S = 24;
  let current = null;
  let ticking = 0;

  deck.querySelectorAll("audio").forEach((audio) => players.set(Number(audio.dataset.recording), audio));
  deck.querySelectorAll("canvas").forEach((canvas) => strips.set(Number(canvas.dataset.recording), { canvas, peaks: null }));
  if (!players.size) deck.hidden = true;

  async function loadStrip(strip) {
    try {
      const reply = await fetch(strip.canvas.dataset.strip);
      strip.peaks = new Uint8Array(await reply.arrayBuffer());
    } catch { strip.peaks = new Uint8Array(); }
    draw(strip, 0);
  }

  function color(name) { return getComputedStyle(document.documentElement).getPropertyValue(name).trim(); }

  // Above: the whole recording. Below: half a minute around the needle.
  function draw(strip, at) {
    const { canvas, peaks } = strip;
    const width = canvas.clientWidth;
    const tall = canvas.clientHeight;
    if (!width || !peaks) return;
    const ratio = devicePixelRatio || 1;
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(tall * ratio);
    const pen = canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    const over = Math.round(tall * 0.3);
    const low = over + 5;
    const length = Math.max(Number(canvas.dataset.duration), peaks.length / PER_S, 1);
    bars(pen, peaks, 0, length, width, 0, over);
    const from = Math.max(0, Math.min(at - WIDE_S / 2, length - WIDE_S));
    bars(pen, peaks, from, from + WIDE_S, width, low, tall - low);
    pen.fillStyle = color("--wash-2");
    pen.globalCompositeOperation = "destination-over";
    if (current && players.get(current.recording) && strips.get(current.recording) === strip) {
      const x = (s) => ((s - from) / WIDE_S) * width;
      pen.fillRect(x(current.start), low, Math.max(2, x(current.end) - x(current.start)), tall - low);
    }
    pen.fillRect((from / length) * width, 0, Math.max(3, (Math.min(WIDE_S, length) / length) * width), over);
    pen.globalCompositeOperation = "source-over";
    pen.fillStyle = color("--needle");
    pen.fillRect((at / length) * width - 1, 0, 2, over);
    pen.fillRect(((at - from) / WIDE_S) * width - 1, low, 2, tall - low);
  }

  function bars(pen, peaks, from, to, width, top, height) {
    pen.fillStyle = color("--voice");
    const columns = Math.max(1, Math.floor(width / 2));
    const each = ((to - from) * PER_S) / columns;
    for (let column = 0; column < columns; column += 1) {
      let most = 0;
      const first = Math.floor(from * PER_S + column * each);
      for (let i = first; i < first + Math.max(1, each) && i < peaks.length; i += 1) if (peaks[i] > most) most = peaks[i];
      const high = Math.max(1, (most / 255) * height);
      pen.fillRect(column * 2, top + (height - high) / 2, 1.2, high);
    }
  }

  function show(recording) {
    strips.forEach((strip, number) => { strip.canvas.hidden = number !== recording; });
    const strip = strips.get(recording);
    if (strip && !strip.peaks) loadStrip(strip);
  }

  function stop() {
    players.forEach((audio) => audio.pause());
    document.querySelectorAll(".play.on").forEach((button) => button.classList.remove("on"));
    if (current) current.slow = false;
    document.getElementById("now").textContent = "";
    clearInterval(ticking);
    ticking = 0;
  }

  function tick() {
    if (!current) return;
    const audio = players.get(current.recording);
    const strip = strips.get(current.recording);
    if (strip) draw(strip, audio.currentTime);
    if (!current.heard && audio.currentTime >= current.end - 0.05) {
      current.heard = true;
      if (current.onheard) current.onheard();
    }
    if (audio.currentTime >= current.end + after || audio.ended) {
      if (document.getElementById("loop").checked) {
        audio.currentTime = Math.max(0, current.start - before);
        audio.play();
      } else { stop(); }
    }
  }

  // Plays a stretch. The same stretch asked for again is played slower, and the time after that as it was spoken.
  async function play(recording, start, end, button, onheard) {
    const audio = players.get(recording);
    if (!audio) return;
    const same = current && current.recording === recording && current.start === start && current.end === end;
    const slow = same ? !current.slow : false;
    stop();
    current = { recording, start, end, slow, heard: false, onheard };
    show(recording);
    audio.playbackRate = slow ? SLOW : 1;
    audio.preservesPitch = true;
    audio.currentTime = Math.max(0, start - before);
    document.getElementById("now").textContent = slow ? "Slower" : "As spoken";
    if (button) button.classList.add("on");
    try { await audio.play(); } catch (fault) {
      if (fault.name !== "AbortError") alarm("The sound cannot be played here. Its words are below.");
      return;
    }
    clearInterval(ticking);
    ticking = setInterval(tick, 40);
  }

  function back() {
    const audio = current && players.get(current.recording);
    if (audio) audio.currentTime = Math.max(0, audio.currentTime - 2);
  }

  strips.forEach(({ canvas }, recording) => canvas.addEventListener("click", (event) => {
    const box = canvas.getBoundingClientRect();
    const audio = players.get(recording);
    const length = Math.max(Number(canvas.dataset.duration), 1);
    const share = (event.clientX - box.left) / box.width;
    const from = Math.max(0, Math.min(audio.currentTime - WIDE_S / 2, length - WIDE_S));
    const at = event.clientY - box.top < box.height * 0.35 ? share * length : from + share * WIDE_S;
    play(recording, Math.min(at + before, length), Math.min(at + before + 8, length));
  }));
  addEventListener("resize", () => strips.forEach((strip) => draw(strip, 0)));
  if (players.size) show(Math.min(...players.keys()));
  document.getElementById("stop").addEventListener("click", stop);
  document.getElementById("back").addEventListener("click", back);
  return { play, stop, players };
})();
