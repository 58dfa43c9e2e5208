// 3-D view of an assembled drawer.

import * as THREE from "three";

import { OrbitControls } from "three/addons/controls/OrbitControls.js";
import { GLTFLoader } from "three/addons/loaders/GLTFLoader.js";

const TURN = 0.12;

/** Directions from which a drawer is seen, from its middle: x to the right, y up, z to the front. @type {Record<string, [number, number, number]>} */
const VIEWS = { front: [0.2, 0.85, 0.75], above: [0, 1, 0.001], side: [1, 0.35, 0.05] };

/** Metres between two layers of pieces that are taken apart, as a share of the drawer's largest side. */
const APART = 0.2;

/** Metres by which two pieces of one layer may differ in height. */
const LEVEL = 0.001;

/** How far the pointer may move in a tap, in pixels. */
const TAP = 6;

/** @typedef {{width: number, depth: number, height: number}} Inside the inside of a drawer in mm */
/**
 * @typedef {{leave: () => void, look: (view: string) => void, takeApart: (apart: boolean) => void,
 *   light: (placements: ReadonlySet<number>) => void}} Stage
 */

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
 * The walls of a drawer as a translucent box with its edges, open at the top, in metres.
 * @param {Inside} inside
 * @param {THREE.Vector3} corner the least corner of what is in it
 * @param {string} colour
 */
function walls({ width, depth, height }, corner, colour) {
  const shape = new THREE.BoxGeometry(width / 1000, height / 1000, depth / 1000);
  const skin = new THREE.MeshBasicMaterial({ color: colour, transparent: true, opacity: 0.12, side: THREE.BackSide, depthWrite: false });
  const box = new THREE.Group().add(
    new THREE.Mesh(shape, skin), new THREE.LineSegments(new THREE.EdgesGeometry(shape), new THREE.LineBasicMaterial({ color: colour })));
  box.position.set(width / 2000, corner.y + height / 2000, -depth / 2000);
  return box;
}

/**
 * The layers of pieces by the height at which they stand, the lowest first.
 * @param {THREE.Object3D[]} pieces
 */
function layersOf(pieces) {
  /** @type {THREE.Object3D[][]} */
  const layers = [];
  for (const piece of [...pieces].sort((a, b) => a.position.y - b.position.y)) {
    const top = layers.at(-1);
    if (top?.[0] && piece.position.y - top[0].position.y < LEVEL) top.push(piece);
    else layers.push([piece]);
  }
  return layers;
}

/**
 * Show a GLB in a node. Drag, pinch, or use the arrow keys, + and -.
 * @param {HTMLElement} node
 * @param {ArrayBuffer} data
 * @param {string} title
 * @param {Inside | null} inside
 * @param {(placement: number) => void} tapped called with the number of the placement that was tapped
 * @returns {Promise<Stage>}
 */
export async function stage(node, data, title, inside, tapped) {
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
  const reach = 1.2 * box.getSize(new THREE.Vector3()).length();
  sun.position.set(middle.x - reach, middle.y + 2 * reach, middle.z + reach);
  const camera = new THREE.PerspectiveCamera(40, 1, reach / 100, reach * 10);
  const controls = new OrbitControls(camera, canvas);
  controls.target.copy(middle);
  controls.maxPolarAngle = Math.PI / 2;
  controls.minDistance = reach / 6;

  const pieces = model.children[0]?.children ?? [];
  const drawer = inside && walls(inside, box.min, window.getComputedStyle(document.documentElement).getPropertyValue("--ink").trim());
  if (drawer) {
    scene.add(drawer);
    box.expandByObject(drawer);
    box.getCenter(middle);
  }

  let turnedByHand = false;
  const direction = new THREE.Vector3(...(VIEWS.front ?? [0, 1, 0])).normalize();
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
  const ray = new THREE.Raycaster();
  /** @type {[number, number]} */
  let pressed = [0, 0];
  canvas.addEventListener("pointerdown", (event) => { pressed = [event.clientX, event.clientY]; });
  canvas.addEventListener("click", (event) => {
    if (Math.hypot(event.clientX - pressed[0], event.clientY - pressed[1]) > TAP) return; // it was turned
    const { left, top, width, height } = canvas.getBoundingClientRect();
    ray.setFromCamera(new THREE.Vector2((2 * (event.clientX - left)) / width - 1, 1 - (2 * (event.clientY - top)) / height), camera);
    const hit = ray.intersectObjects(pieces, true)[0]?.object;
    const placement = pieces.findIndex((piece) => piece === hit || piece.children.some((child) => child === hit));
    if (placement >= 0) tapped(placement);
  });

  const look = (/** @type {string} */ name) => {
    direction.set(...(VIEWS[name] ?? [0, 1, 0])).normalize();
    turnedByHand = false;
    fit();
  };
  const takeApart = (/** @type {boolean} */ apart) => {
    const gap = apart ? APART * Math.max(box.max.x - box.min.x, box.max.z - box.min.z) : 0;
    layers.forEach((layer, level) => layer.forEach(({ piece, y }) => piece.position.setY(y + level * gap)));
    if (drawer) drawer.visible = !apart;
    box.setFromObject(model);
    if (drawer && !apart) box.expandByObject(drawer);
    box.getCenter(middle);
    controls.target.copy(middle);
    turnedByHand = false;
    fit();
  };
  const layers = layersOf(pieces).map((layer) => layer.map((piece) => ({ piece, y: piece.position.y })));
  const plain = pieces.map((piece) => /** @type {any} */ (piece).material);
  const light = (/** @type {ReadonlySet<number>} */ placements) => {
    pieces.forEach((piece, index) => {
      const own = /** @type {any} */ (piece);
      if (own.material !== plain[index]) own.material.dispose();
      own.material = plain[index];
      if (!placements.has(index) || !plain[index]) return;
      own.material = plain[index].clone();
      own.material.emissive.set(window.getComputedStyle(document.documentElement).getPropertyValue("--green").trim());
      own.material.emissiveIntensity = 0.6;
    });
    canvas.dataset.lit = String(placements.size);
    draw();
  };
  const watcher = new ResizeObserver(fit);
  watcher.observe(node);
  fit();
  canvas.dataset.drawn = String(renderer.info.render.triangles);

  const release = () => {
    watcher.disconnect();
    controls.dispose();
    model.traverse((/** @type {any} */ part) => {
      part.geometry?.dispose();
      part.material?.dispose?.();
    });
    drawer?.traverse((/** @type {any} */ part) => {
      part.geometry?.dispose();
      part.material?.dispose?.();
    });
    renderer.dispose();
    canvas.remove();
  };
  return { leave: release, look, takeApart, light };
}
