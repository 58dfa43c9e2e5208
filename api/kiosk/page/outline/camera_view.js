// The camera's picture with what is still to be done before a photo: where the browser allows it. Else a phone's own
// camera is opened by a file field.

import { signal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";

import { html } from "../elements/html.js";
import { t } from "../language/messages.js";
import { checkSheet } from "./sheet_check.js";

/** Longer side of the frames that are checked, px, and milliseconds between them: 10 ms each on a slow machine. */
const SMALL = 320;
const EVERY = 300;

/** Share of JPEG quality of a photo that is taken from the video. */
const QUALITY = 0.95;

/** Whether this browser shows a page its camera: on HTTPS and on the own machine only. */
export const hasCamera = () => Boolean(navigator.mediaDevices?.getUserMedia);

/** @type {import("@preact/signals").Signal<import("./sheet_check.js").Verdict | "starting" | "refused">} */
const verdict = signal("starting");

/**
 * @param {{take: (photo: File) => void, close: () => void}} props
 */
export function CameraView({ take, close }) {
  const video = useRef(/** @type {HTMLVideoElement | null} */ (null));
  const stream = useRef(/** @type {MediaStream | null} */ (null));
  const corners = useRef(/** @type {SVGPolygonElement | null} */ (null));
  useEffect(() => {
    let ended = false;
    let timer = 0;
    verdict.value = "starting";
    const canvas = document.createElement("canvas");
    const pen = canvas.getContext("2d", { willReadFrequently: true });
    const look = () => {
      const node = video.current;
      if (node?.videoWidth && pen) {
        const scale = SMALL / Math.max(node.videoWidth, node.videoHeight);
        [canvas.width, canvas.height] = [Math.round(node.videoWidth * scale), Math.round(node.videoHeight * scale)];
        pen.drawImage(node, 0, 0, canvas.width, canvas.height);
        const seen = checkSheet(pen.getImageData(0, 0, canvas.width, canvas.height));
        verdict.value = seen.verdict;
        corners.current?.setAttribute("points", seen.corners.map(([x, y]) => `${(100 * x) / canvas.width},${(100 * y) / canvas.height}`).join(" "));
      }
      timer = window.setTimeout(look, EVERY);
    };
    const begin = async () => {
      try {
        const made = await navigator.mediaDevices.getUserMedia({ audio: false, video: { facingMode: "environment", width: { ideal: 4096 }, height: { ideal: 3072 } } });
        if (ended) {
          for (const track of made.getTracks()) track.stop();
          return;
        }
        stream.current = made;
        if (video.current) video.current.srcObject = made;
        look();
      } catch {
        verdict.value = "refused"; // by the user, or there is no camera
      }
    };
    begin();
    return () => {
      ended = true;
      window.clearTimeout(timer);
      for (const track of stream.current?.getTracks() ?? []) track.stop();
    };
  }, []);
  const shoot = async () => {
    const node = video.current;
    const [track] = stream.current?.getVideoTracks() ?? [];
    if (!node || !track) return;
    const photo = await photoOf(node, track);
    take(new File([photo], `photo.${photo.type.split("/")[1] ?? "jpeg"}`, { type: photo.type }));
  };
  const now = verdict.value;
  return html`<div class="camera" id="camera">
    <div class="camera-frame"><video ref=${video} autoplay muted playsinline aria-label=${t("camera_picture")}></video>
      <svg viewBox="0 0 100 100" preserveAspectRatio="none" aria-hidden="true"><polygon ref=${corners} class=${now === "good" ? "good" : ""} /></svg></div>
    <p class=${`verdict ${now === "good" ? "" : "room"}`} id="camera-verdict" role="status">${t(`camera_${now}`)}</p>
    <div class="choices start">
      <button type="button" class="main" id="camera-shoot" disabled=${now === "starting" || now === "refused"} onClick=${shoot}>${t("camera_shoot")}</button>
      <button type="button" id="camera-close" onClick=${close}>${t("close")}</button>
    </div></div>`;
}

/**
 * A photo in the camera's full resolution where the browser can take one, else the frame of the video.
 * @param {HTMLVideoElement} video
 * @param {MediaStreamTrack} track
 * @returns {Promise<Blob>}
 */
async function photoOf(video, track) {
  const { ImageCapture } = /** @type {any} */ (window);
  if (ImageCapture) {
    try {
      return await new ImageCapture(track).takePhoto();
    } catch { /* some cameras give frames only */ }
  }
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [video.videoWidth, video.videoHeight];
  canvas.getContext("2d")?.drawImage(video, 0, 0);
  return new Promise((resolve, reject) => {
    canvas.toBlob((blob) => (blob ? resolve(blob) : reject(new Error("The frame is no picture."))), "image/jpeg", QUALITY);
  });
}
