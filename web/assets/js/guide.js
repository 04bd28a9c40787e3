// The guide before the shot: what the camera sees, judged while it moves.
import { t } from "./strings.js";
import { h, show, capital } from "./dom.js";
import { begin, picker } from "./take.js";
import { greyOf, judge } from "./guidemath.js";
import { setting } from "./units.js";

const wide = 320; // pixels of the frame that is judged
const every = 350; // ms between two looks

export function guideView() {
  const facts = () => ({ ruler_thickness_mm: setting.thickness });
  const advice = h("p", {}, t("guide.none"));
  const plain = picker(t("measure.take"), "first large", { capture: "environment" }, facts);
  if (!navigator.mediaDevices?.getUserMedia) {
    show(t("guide.title"), h("div", { class: "card" }, h("h1", {}, t("guide.title")), advice, plain));
    return;
  }
  const video = h("video", { playsinline: true, muted: true, autoplay: true, "aria-label": t("guide.video") });
  const items = Object.fromEntries(["level", "sharp", "glare", "near", "ruler"].map((k) => [k, h("li", {}, h("span", { class: "sign", "aria-hidden": "true" }, "·"), h("span", {}, t("guide." + k)))]));
  const verdict = h("p", { role: "status" });
  const shoot = h("button", { type: "button", class: "first large", id: "shoot", hidden: true, onclick: take }, t("guide.shoot"));
  const start = h("button", { type: "button", class: "first large", id: "start", onclick: run }, t("guide.start"));
  const stage = h("div", { class: "stage", hidden: true }, video, h("div", { class: "frame" }));
  show(t("guide.title"), h("div", { class: "card" }, h("h1", {}, t("guide.title")), start, stage, verdict, h("ul", { class: "checks" }, Object.values(items)), shoot), h("div", { class: "card" }, plain));

  let stream, timer, tilt;
  const lean = (ev) => { if (ev.beta !== null) tilt = Math.max(Math.abs(ev.beta), Math.abs(ev.gamma ?? 0)); };

  async function run() {
    start.disabled = true;
    try {
      // A phone may want to be asked before it tells how it is held.
      await globalThis.DeviceOrientationEvent?.requestPermission?.().catch(() => {});
      addEventListener("deviceorientation", lean);
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment", width: { ideal: 3840 }, height: { ideal: 2160 } } });
    } catch {
      start.replaceWith(h("p", { class: "problem", role: "alert" }, t("guide.denied")));
      return;
    }
    video.srcObject = stream;
    await video.play();
    start.hidden = true;
    stage.hidden = shoot.hidden = false;
    shoot.focus();
    timer = setInterval(look, every);
  }

  const canvas = document.createElement("canvas");
  const g = canvas.getContext("2d", { willReadFrequently: true });
  let good = 0;
  function look() {
    if (!video.videoWidth || document.hidden) return;
    canvas.width = wide;
    canvas.height = Math.round((wide * video.videoHeight) / video.videoWidth);
    g.drawImage(video, 0, 0, canvas.width, canvas.height);
    const { width: w, height: high } = canvas;
    const frame = greyOf(g.getImageData(0, 0, w, high).data, w, high);
    g.drawImage(video, (video.videoWidth - w) / 2, (video.videoHeight - high) / 2, w, high, 0, 0, w, high);
    const close = greyOf(g.getImageData(0, 0, w, high).data, w, high);
    const j = judge(frame, close, video.videoWidth / w, tilt);
    let first = "";
    for (const [k, li] of Object.entries(items)) {
      const is = j[k];
      li.className = is === undefined ? "" : is ? "ok" : "no";
      li.firstChild.textContent = is === undefined ? "·" : is ? "✓" : "✗";
      const words = is ? t("guide.ok") : is === undefined ? (k === "level" ? t("guide.level.unknown") : t("guide.near.unknown")) : t(`guide.${k}.no`);
      li.lastChild.textContent = `${t("guide." + k)}: ${words}`;
      if (is === false && !first) first = `${t("guide." + k)}: ${words}`;
    }
    good = first || j.near === undefined ? 0 : good + 1;
    const now = capital(first) || (good > 1 ? t("guide.ready") : "");
    if (now && verdict.textContent !== now) verdict.textContent = now;
  }

  // take takes a still, as large as the camera gives, else the frame that is shown.
  async function take() {
    shoot.disabled = true;
    clearInterval(timer);
    let photo;
    try {
      photo = await new ImageCapture(stream.getVideoTracks()[0]).takePhoto();
    } catch {
      canvas.width = video.videoWidth;
      canvas.height = video.videoHeight;
      g.drawImage(video, 0, 0);
      photo = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.97));
    }
    begin([new File([photo], "photo.jpg", { type: photo.type })], facts());
  }
  return () => {
    clearInterval(timer);
    removeEventListener("deviceorientation", lean);
    stream?.getTracks().forEach((track) => track.stop());
  };
}
