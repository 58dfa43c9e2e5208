// Documents of the service as far as the page reads them; the contract in openapi/ says more. Lengths in mm.

export type Text = (key: string, values?: Record<string, string | number>) => string;

export interface Fault { pointer: string | null; text: string }
export interface Problem {
  status?: number;
  title?: string;
  detail?: string;
  pointer?: string;
  limit?: string;
  remedy?: string;
  reason?: string;
  errors?: Problem[];
}

export interface Divider { axis: "x" | "y"; at: number; height?: number | null; span?: [number, number] | null }
export interface Hold { item: string; count?: number | null; compartment?: [number, number] }

/** A tray as a spec says it; what the page does not change itself is passed on as it is. */
export interface Tray {
  name: string;
  cells: [number, number];
  height: number;
  at?: [number, number] | null;
  on?: string[];
  z?: number | null;
  wall?: number;
  rim?: "stacking" | "straight";
  dividers?: Divider[];
  compartments?: [number, number] | null;
  finger_ramp?: object | boolean | null;
  label_ledge?: object | boolean | null;
  grip?: boolean;
  magnets?: { diameter: number; depth: number; per_cell?: boolean } | null;
  pockets?: object[];
  labels?: (string | null)[];
  text?: { text: string; face?: "front" | "floor" | "ledge"; style?: string } | null;
  hold?: Hold[];
  quantity?: number;
}

export interface Placement {
  mark: string;
  at: [number, number, number];
  turn: number;
  cell: [number, number] | null;
  name: string | null;
  upright?: boolean;
}
export interface Content {
  item: string;
  pointer: string;
  count: number;
  placement: number | null;
  lane: number | null;
  at: [number, number, number];
  size: [number, number, number];
}
export interface Jointed { name: string; cell: [number, number]; z: number; pieces: number[] }
export interface Upper { name: string; placement: number; on: number[]; panels?: number[]; z: number }
export interface DrawerPlan {
  name: string;
  copies: number;
  size: [number, number, number];
  outline: [number, number][][];
  origin: [number, number];
  pitch: number;
  cells: { whole: number; half: number; across: [number, number] };
  placements: Placement[];
  contents: Content[];
  spaces: { at: [number, number]; cells: [number, number] }[];
  jointed: Jointed[];
  upper?: Upper[]; // not in documents of earlier versions
  lanes: { name: string; at: [number, number]; size: [number, number] }[];
}
export interface Part {
  mark: string;
  kind: string;
  name: string;
  quantity: number;
  size: [number, number, number];
  tray: Tray | null;
  piece: { number: number; of: number; tray_size: [number, number, number] } | null;
  files: { name: string; bytes: number }[];
}
export interface Run {
  number: number;
  material: string;
  pieces: { mark: string; at: [number, number]; turn: number; drawer: string | null }[];
  seconds?: number | null;
  grams?: number | null;
  file?: string | null;
  printers?: string[];
}
export interface Work {
  pieces: number;
  runs: number;
  grams?: number | null;
  metres?: number | null;
  cost?: number | null;
  seconds?: number | null;
  time_uncertainty?: number | null;
  calibrated_time?: number;
  calibrated_filament?: number;
}
export interface Pieces { mark: string; kind: string; name: string; count: number }
export interface Stand { drawer: string; cell: [number, number] | null }
export interface Changes {
  new: Pieces[];
  kept: Pieces[];
  moved: (Pieces & { before: Stand; now: Stand })[];
  retired: Pieces[];
}
export interface Plan {
  name: string;
  drawers: DrawerPlan[];
  parts: Part[];
  runs: Run[];
  work: Work | null;
  unplaced: { item: string; pointer: string; count: number; drawer: string | null; reason: string; remedy: string | null }[];
  warnings: { pointer: string; message: string }[];
  changes?: Changes | null;
}
export interface StoredFile { name: string; media_type: string; bytes: number }
export interface Manifest extends Plan {
  cautions: { topic: string; text: string }[];
  documents?: { role: string; title: string; drawer: string | null; file: StoredFile }[];
  bundle: StoredFile | null;
}
export interface Job {
  id: string;
  name: string;
  state: "queued" | "running" | "succeeded" | "failed" | "cancelled";
  progress: { done: number; total: number; now: string | null };
  problem: Problem | null;
  created: string;
  tags: string[];
}
export interface CatalogueShape { kind: string; size: [number, number, number]; diameter: number; length: number; end_diameter?: number; rods?: number; cable?: number }
export interface CatalogueEntry { id: string; name: string; category: string; source: string; shape: CatalogueShape }
export interface Silhouette {
  id: string;
  name: string;
  kind: "photo" | "drawing" | "model" | "points";
  state: "queued" | "running" | "succeeded" | "failed";
  outline: {
    outer: [number, number][];
    holes: [number, number][][];
    depth: number | null;
    uncertainty: number;
    warnings: string[];
    details: Record<string, any>;
  } | null;
  poses: { pose: number; size: [number, number, number]; share: number }[];
  problem: Problem | null;
  links: { overlay: string | null; photo: string | null };
}
