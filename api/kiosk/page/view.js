// 3-D view of an assembled drawer.

import * as THREE from "three";

import { OrbitControls } from "three/addons/controls/OrbitControls.js";
import { GLTFLoader } from "three/addons/loaders/GLTFLoader.js";

const TURN = 0.12;

/** Share by which the camera stands further back than needed. */
const AIR = 1.05;

/** @param {THREE.Box3} box @returns {THREE.Vector3[]} */
const corners = (box) => [0, 1, 2, 3, 4, 5, 6, 7].map((i) =>
  new THREE.Vector3(i & 1 ? box.max.x : box.min.x, i & 2 ? box.max.y : box.min.y, i & 4 ? box.max.z : box.min.z));

/**
 * Return the distance from a box's centre at which a camera in the given direction sees all its corners.
 * @param {THREE.Box3} box
 * @param {THREE.PerspectiveCamera} camera
 * @param {THREE.Vector3} direction
 */
function fitDistance(box, camera, direction) {
  const middle = box.getCenter(new THREE.Vector3());
  const toCamera = new THREE.Matrix4().lookAt(direction, new THREE.Vector3(), camera.up).transpose();
  const slope = Math.tan(THREE.MathUtils.degToRad(camera.fov / 2));
  const distances = corners(box).map((corner) => {
    const { x, y, z } = corner.sub(middle).applyMatrix4(toCamera);
    return z + Math.max(Math.abs(y), Math.abs(x) / camera.aspect) / slope;
  });
  return Math.max(...distances);
}

/**
 * Show a GLB in a node; return a function that releases it. Drag, pinch, or use the arrow keys, + and -.
 * @param {HTMLElement} node
 * @param {ArrayBuffer} data
 * @param {string} title
 */
export async function stage(node, data, title) {
  const { scene: model } = await new GLTFLoader().parseAsync(data, "");
  const renderer = new THREE.WebGLRenderer({ antialias: true, alpha: true });
  renderer.setPixelRatio(Math.min(2, window.devicePixelRatio));
  const canvas = renderer.domElement;
  canvas.tabIndex = 0;
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", title);
  node.replaceChildren(canvas);

  const scene = new THREE.Scene();
  const shade = window.getComputedStyle(document.documentElement).getPropertyValue("--edge").trim();
  scene.add(model, new THREE.HemisphereLight("white", shade, 2.2));
  const sun = new THREE.DirectionalLight("white", 1.6);
  scene.add(sun);
  const box = new THREE.Box3().setFromObject(model);
  const middle = box.getCenter(new THREE.Vector3());
  const reach = box.getSize(new THREE.Vector3()).length();
  sun.position.set(middle.x - reach, middle.y + 2 * reach, middle.z + reach);
  const camera = new THREE.PerspectiveCamera(40, 1, reach / 100, reach * 10);
  const controls = new OrbitControls(camera, canvas);
  controls.target.copy(middle);
  controls.maxPolarAngle = Math.PI / 2;
  controls.minDistance = reach / 6;

  let turnedByHand = false;
  const direction = new THREE.Vector3(0.2, 0.85, 0.75).normalize();
  const draw = () => renderer.render(scene, camera);
  /** Look at the whole model from the front; say how far its corners are from the middle of the picture, 1 the edge. */
  const lookAtAll = () => {
    const distance = AIR * fitDistance(box, camera, direction);
    controls.maxDistance = Math.max(3 * reach, 2 * distance);
    camera.far = controls.maxDistance + reach;
    camera.updateProjectionMatrix();
    camera.position.copy(middle).addScaledVector(direction, distance);
    controls.update();
    camera.updateMatrixWorld();
    const reaches = corners(box).map((corner) => corner.project(camera)).map(({ x, y }) => Math.max(Math.abs(x), Math.abs(y)));
    canvas.dataset.reach = Math.max(...reaches).toFixed(3);
  };
  const fit = () => {
    const width = Math.max(1, node.clientWidth);
    const height = Math.max(240, Math.min(Math.round(width * 0.72), Math.round(window.innerHeight * 0.6)));
    renderer.setSize(width, height);
    camera.aspect = width / height;
    camera.updateProjectionMatrix();
    if (!turnedByHand) lookAtAll(); // another shape of the picture needs another distance
    draw();
  };
  const turn = (/** @type {number} */ around, /** @type {number} */ over, /** @type {number} */ nearer) => {
    turnedByHand = true;
    const offset = new THREE.Spherical().setFromVector3(camera.position.clone().sub(middle));
    offset.theta += around;
    offset.phi = Math.min(Math.PI / 2, Math.max(0.05, offset.phi + over));
    offset.radius = Math.min(controls.maxDistance, Math.max(controls.minDistance, offset.radius * nearer));
    camera.position.setFromSpherical(offset).add(middle);
    controls.update();
  };
  /** @type {Record<string, [number, number, number]>} */
  const keys = {
    ArrowLeft: [-TURN, 0, 1], ArrowRight: [TURN, 0, 1], ArrowUp: [0, -TURN, 1], ArrowDown: [0, TURN, 1],
    "+": [0, 0, 0.9], "-": [0, 0, 1.1],
  };
  canvas.addEventListener("keydown", (event) => {
    const step = keys[event.key];
    if (!step) return;
    event.preventDefault();
    turn(...step);
  });
  controls.addEventListener("start", () => { turnedByHand = true; });
  controls.addEventListener("change", draw); // render on change only, not 60 times a second
  const watcher = new ResizeObserver(fit);
  watcher.observe(node);
  fit();
  canvas.dataset.drawn = String(renderer.info.render.triangles);

  return () => {
    watcher.disconnect();
    controls.dispose();
    model.traverse((/** @type {any} */ part) => {
      part.geometry?.dispose();
      part.material?.dispose?.();
    });
    renderer.dispose();
    canvas.remove();
  };
}
