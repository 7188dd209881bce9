import { buildSimulatedScene, type SimulatedScene, type SurfaceMaterial } from './scene.ts';
import type { SolidShape, Tessellation } from './solids/solid-mesh.ts';

/** sRGB, 8 bit a channel. */
export type Rgb = readonly [number, number, number];

/** One closed solid of a model. Solids may reach into each other: what lies inside another is never seen. */
export interface ModelSolid {
  readonly name: string;
  /** Part of the object it belongs to, for choosing what carries targets. */
  readonly zone: string;
  readonly shape: SolidShape;
  readonly material: SurfaceMaterial;
  /** Colour at a place of the model, where it is not the material's. */
  readonly paint: ((x: number, y: number, z: number) => Rgb) | null;
}

/** The scene of a model and which solid each of its triangles belongs to. */
export interface ModelScene {
  readonly scene: SimulatedScene;
  readonly solidOfTriangle: Uint16Array;
}

/**
 * Cuts all solids of a model into one triangle mesh, which is from then on the truth.
 *
 * Units    mm; coordinates of the model, rounded to float32.
 */
export function buildModelScene(solids: readonly ModelSolid[], tessellation: Tessellation): ModelScene {
  const meshes = solids.map((solid) => solid.shape(tessellation));
  const vertexCount = meshes.reduce((sum, m) => sum + m.positions.length / 3, 0);
  const triangleCount = meshes.reduce((sum, m) => sum + m.triangles.length / 3, 0);
  const positions = new Float32Array(3 * vertexCount);
  const triangles = new Uint32Array(3 * triangleCount);
  const colors = new Uint8Array(3 * vertexCount);
  const solidOfTriangle = new Uint16Array(triangleCount);
  let v = 0;
  let t = 0;
  meshes.forEach((mesh, k) => {
    positions.set(mesh.positions, 3 * v);
    for (let i = 0; i < mesh.triangles.length; i++) triangles[3 * t + i] = mesh.triangles[i] + v;
    solidOfTriangle.fill(k, t, t + mesh.triangles.length / 3);
    for (let i = 0; i < mesh.positions.length; i += 3) {
      colors.set(solidColor(solids[k], mesh.positions[i], mesh.positions[i + 1], mesh.positions[i + 2]), 3 * v + i);
    }
    v += mesh.positions.length / 3;
    t += mesh.triangles.length / 3;
  });
  const scene = buildSimulatedScene(
    { origin: [0, 0, 0], positions, triangles, colors, normals: null, viewpoint: null },
    { list: solids.map((s) => s.material), ofTriangle: solidOfTriangle },
  );
  return { scene, solidOfTriangle };
}

/** Colour of a solid at a place of the model. */
export function solidColor(solid: ModelSolid, x: number, y: number, z: number): Rgb {
  return solid.paint === null ? solid.material.color : solid.paint(x, y, z);
}
