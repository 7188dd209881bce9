import { invert, makeRandom, type Pose, type ScanData, transformPoint, type Vec3 } from '@lapjoint/engine';

/** Half length and half width of the object, mm. */
const OBJECT = { length: 90, width: 63 } as const;

/** Height of the still background: a floor with two steps and three mounds. */
function floorHeight(x: number, y: number): number {
  const mound = (height: number, u: number, v: number, spread: number): number =>
    height * Math.exp(-((x - u) ** 2 + (y - v) ** 2) / spread);
  const steps = (x < -330 ? 60 : 0) + (y < -340 ? 35 : 0);
  return steps + mound(40, 250, 230, 4000) + mound(50, -200, 300, 5000) + mound(30, 320, -60, 3000);
}

function objectHeight(u: number, v: number): number {
  return 120 + 14 * Math.sin(u / 25 + 1) * Math.cos(v / 31) + 0.12 * u - 0.08 * v;
}

/**
 * A block on a floor: the instrument stands still and the object is turned between two captures.
 *
 * @param worldFromObject where the object stands
 * @param frameFromWorld the frame of the capture
 */
export function captureTurnedObject(name: string, worldFromObject: Pose, frameFromWorld: Pose): ScanData {
  const random = makeRandom(5, name);
  const spacing = 7;
  const jitter = (): number => 0.5 * spacing * random.uniform();
  const noise = (): number => 0.05 * random.normal();
  const points: Vec3[] = [];
  const objectFromWorld = invert(worldFromObject);
  for (let x = -400; x < 400; x += spacing) {
    for (let y = -400; y < 400; y += spacing) {
      const place: Vec3 = [x + jitter(), y + jitter(), 0];
      const [u, v] = transformPoint(objectFromWorld, place);
      if (Math.abs(u) < OBJECT.length && Math.abs(v) < OBJECT.width) continue;
      points.push([place[0], place[1], floorHeight(place[0], place[1]) + noise()]);
    }
  }
  const add = (u: number, v: number, w: number): void => {
    if (w <= objectHeight(u, v) + 1) points.push(transformPoint(worldFromObject, [u, v, w]));
  };
  for (let u = -OBJECT.length; u < OBJECT.length; u += spacing) {
    for (let v = -OBJECT.width; v < OBJECT.width; v += spacing) {
      const at = [u + jitter(), v + jitter()];
      add(at[0], at[1], objectHeight(at[0], at[1]) + noise());
    }
  }
  for (const side of [-1, 1]) {
    for (let w = 3; w < 130; w += spacing) {
      for (let u = -OBJECT.length; u < OBJECT.length; u += spacing) {
        const along = u + jitter();
        add(along, side * OBJECT.width + noise() + 4 * Math.sin(along / 20 + side), w + jitter());
      }
      for (let v = -OBJECT.width; v < OBJECT.width; v += spacing) {
        const along = v + jitter();
        add(side * OBJECT.length + noise() + 3 * Math.cos(along / 15 - side), along, w + jitter());
      }
    }
  }
  return {
    origin: [0, 0, 0],
    positions: Float32Array.from(points.flatMap((point) => transformPoint(frameFromWorld, point))),
    normals: null,
    colors: null,
    triangles: null,
    viewpoint: null,
  };
}
