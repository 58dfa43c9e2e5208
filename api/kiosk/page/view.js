// 3-D view of an assembled drawer.

import * as THREE from "three";

import { OrbitControls } from "./vendor/three/addons/controls/OrbitControls.js";
import { GLTFLoader } from "./vendor/three/addons/loaders/GLTFLoader.js";

const TURN = 0.12;

/** Return the distance from a box's centre at which a camera in the given direction sees all its corners. */
function fitDistance(box, camera, direction) {
  const middle = box.getCenter(new THREE.Vector3());
  const toCamera = new THREE.Matrix4().lookAt(direction, new THREE.Vector3(), camera.up).transpose();
  const slope = Math.tan(THREE.MathUtils.degToRad(camera.fov / 2));
  const distances = [0, 1, 2, 3, 4, 5, 6, 7].map((i) => {
    const corner = new THREE.Vector3(i & 1 ? box.max.x : box.min.x, i & 2 ? box.max.y : box.min.y, i & 4 ? box.max.z : box.min.z);
    const { x, y, z } = corner.sub(middle).applyMatrix4(toCamera);
    return z + Math.max(Math.abs(y), Math.abs(x) / camera.aspect) / slope;
  });
  return Math.max(...distances);
}

/** Show a GLB in a node; return a function that releases it. Drag, pinch, or use the arrow keys, + and -. */
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
  controls.maxDistance = reach * 3;

  const draw = () => renderer.render(scene, camera);
  const fit = () => {
    const width = Math.max(1, node.clientWidth);
    const height = Math.max(240, Math.min(Math.round(width * 0.72), Math.round(window.innerHeight * 0.6)));
    renderer.setSize(width, height);
    camera.aspect = width / height;
    camera.updateProjectionMatrix();
    draw();
  };
  const turn = (around, over, nearer) => {
    const offset = new THREE.Spherical().setFromVector3(camera.position.clone().sub(middle));
    offset.theta += around;
    offset.phi = Math.min(Math.PI / 2, Math.max(0.05, offset.phi + over));
    offset.radius = Math.min(controls.maxDistance, Math.max(controls.minDistance, offset.radius * nearer));
    camera.position.setFromSpherical(offset).add(middle);
    controls.update();
  };
  const keys = {
    ArrowLeft: [-TURN, 0, 1], ArrowRight: [TURN, 0, 1], ArrowUp: [0, -TURN, 1], ArrowDown: [0, TURN, 1],
    "+": [0, 0, 0.9], "-": [0, 0, 1.1],
  };
  canvas.addEventListener("keydown", (event) => {
    if (!keys[event.key]) return;
    event.preventDefault();
    turn(...keys[event.key]);
  });
  controls.addEventListener("change", draw); // render on change only, not 60 times a second
  const watcher = new ResizeObserver(fit);
  watcher.observe(node);
  fit();
  const direction = new THREE.Vector3(0.2, 0.85, 0.75).normalize();
  camera.position.copy(middle).addScaledVector(direction, 1.05 * fitDistance(box, camera, direction));
  controls.update();
  draw();
  canvas.dataset.drawn = String(renderer.info.render.triangles);

  return () => {
    watcher.disconnect();
    controls.dispose();
    model.traverse((node) => {
      node.geometry?.dispose();
      node.material?.dispose?.();
    });
    renderer.dispose();
    canvas.remove();
  };
}
