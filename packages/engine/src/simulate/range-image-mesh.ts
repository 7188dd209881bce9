import { IDENTITY_POSE, type Pose, transformPoint, type Vec3 } from '../math/index.ts';
import type { ScanData } from '../model/index.ts';
import type { RangeImage } from './range-image.ts';
import type { SimulatedScene } from './scene.ts';

/** Edges longer than this many pixel spacings at their range are depth steps: 5 is a surface seen at 78 degrees. */
export const DEPTH_STEP_FACTOR = 5;

/** Local distance of neighbouring pixels on a surface seen straight on, mm. */
function pixelSpacing(image: RangeImage, pixel: number): number {
  return image.camera.kind === 'perspective' ? image.camera.step * image.ranges[pixel] : image.camera.step;
}

/** Triangles over pixel numbers, counter-clockwise seen from the instrument; cells split along their shorter diagonal. */
function gridTriangles(image: RangeImage, depthStepFactor: number): number[] {
  const { columns, rows } = image.camera;
  const p = image.positions;
  const length = (i: number, j: number): number =>
    Math.hypot(p[3 * i] - p[3 * j], p[3 * i + 1] - p[3 * j + 1], p[3 * i + 2] - p[3 * j + 2]);
  const joined = (i: number, j: number): boolean =>
    length(i, j) <= depthStepFactor * Math.min(pixelSpacing(image, i), pixelSpacing(image, j));
  const triangles: number[] = [];
  const keep = (a: number, b: number, c: number): void => {
    if (image.triangle[a] < 0 || image.triangle[b] < 0 || image.triangle[c] < 0) return;
    if (joined(a, b) && joined(b, c) && joined(c, a)) triangles.push(a, b, c);
  };
  for (let row = 0; row + 1 < rows; row++) {
    for (let column = 0; column + 1 < columns; column++) {
      const a = row * columns + column;
      const b = a + 1;
      const c = a + columns;
      const d = c + 1;
      // Where one corner is missing, the split that leaves the three others together is taken (a NaN length compares false).
      if (image.triangle[a] < 0 || image.triangle[d] < 0 || length(a, d) > length(b, c)) {
        keep(a, c, b);
        keep(b, c, d);
      } else {
        keep(a, c, d);
        keep(a, d, b);
      }
    }
  }
  return triangles;
}

/** Colour of the scene where a pixel hit it: the nearest vertex's, or the material's. */
function colorAt(scene: SimulatedScene, image: RangeImage, pixel: number): readonly [number, number, number] {
  const triangle = image.triangle[pixel];
  const colors = scene.vertexColors;
  if (colors === null) return scene.materials[scene.triangleMaterial[triangle]]?.color ?? [190, 190, 190];
  let best = -1;
  let bestDistance = Number.POSITIVE_INFINITY;
  for (let k = 0; k < 3; k++) {
    const v = scene.triangles[3 * triangle + k];
    const d = Math.hypot(
      ...[0, 1, 2].map(
        (axis) => image.positions[3 * pixel + axis] - scene.origin[axis] - scene.positions[3 * v + axis],
      ),
    );
    if (d < bestDistance) {
      bestDistance = d;
      best = v;
    }
  }
  return [colors[3 * best], colors[3 * best + 1], colors[3 * best + 2]];
}

/** Makes a scan of float64 places: origin in the middle of their box. */
export function scanOfPlaces(places: Float64Array, parts: Omit<ScanData, 'origin' | 'positions'>): ScanData {
  const low = [Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY];
  const high = [Number.NEGATIVE_INFINITY, Number.NEGATIVE_INFINITY, Number.NEGATIVE_INFINITY];
  for (let i = 0; i < places.length; i++) {
    low[i % 3] = Math.min(low[i % 3], places[i]);
    high[i % 3] = Math.max(high[i % 3], places[i]);
  }
  const origin: Vec3 =
    places.length === 0 ? [0, 0, 0] : [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, (low[2] + high[2]) / 2];
  const positions = new Float32Array(places.length);
  for (let i = 0; i < places.length; i++) positions[i] = places[i] - origin[i % 3];
  return { origin, positions, ...parts };
}

/**
 * Turns a range image into a mesh: neighbouring pixels joined, depth steps cut, loose points left out.
 *
 * Frames   the scan lies in the frame given by `scanFromScene`; its viewpoint is the camera's.
 * Units    mm.
 *
 * @returns a scan with triangles; without any when no three neighbouring pixels were measured
 */
export function meshFromRangeImage(
  image: RangeImage,
  scene: SimulatedScene,
  options: { readonly scanFromScene?: Pose; readonly depthStepFactor?: number; readonly colors?: boolean } = {},
): ScanData {
  const scanFromScene = options.scanFromScene ?? IDENTITY_POSE;
  const pixels = gridTriangles(image, options.depthStepFactor ?? DEPTH_STEP_FACTOR);
  const vertexOfPixel = new Int32Array(image.triangle.length).fill(-1);
  for (const pixel of pixels) vertexOfPixel[pixel] = 0;
  const used: number[] = [];
  for (let pixel = 0; pixel < vertexOfPixel.length; pixel++) {
    if (vertexOfPixel[pixel] < 0) continue;
    vertexOfPixel[pixel] = used.length;
    used.push(pixel);
  }
  const places = new Float64Array(3 * used.length);
  const colors = options.colors ? new Uint8Array(3 * used.length) : null;
  used.forEach((pixel, v) => {
    const at: Vec3 = [image.positions[3 * pixel], image.positions[3 * pixel + 1], image.positions[3 * pixel + 2]];
    places.set(transformPoint(scanFromScene, at), 3 * v);
    colors?.set(colorAt(scene, image, pixel), 3 * v);
  });
  const { camera } = image;
  const away = transformPoint({ rotation: scanFromScene.rotation, translation: [0, 0, 0] }, [
    -camera.forward[0],
    -camera.forward[1],
    -camera.forward[2],
  ]);
  return scanOfPlaces(places, {
    normals: null,
    colors,
    triangles: Uint32Array.from(pixels, (pixel) => vertexOfPixel[pixel]),
    viewpoint:
      camera.kind === 'perspective'
        ? { kind: 'position', position: transformPoint(scanFromScene, camera.position) }
        : { kind: 'direction', direction: away },
  });
}
