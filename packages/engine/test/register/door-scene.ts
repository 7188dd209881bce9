import { makeRandom } from '../../src/base/index.ts';
import { IDENTITY_POSE, type Pose, perturb, rotate, transformPoint, type Vec3 } from '../../src/math/index.ts';
import type { ScanData } from '../../src/model/index.ts';
import { makeCorrelatedField } from '../../src/simulate/index.ts';
import { scanOf } from './sampled-shapes.ts';

/** A body of a metre with a door in its front, as one session captures it. Points first of the body, then of the door. */
export interface DoorScan {
  readonly data: ScanData;
  readonly bodyCount: number;
  /** Normals and unmoved places of all points, in the body's frame. */
  readonly normals: readonly Vec3[];
  readonly places: readonly Vec3[];
}

/** How a session captures the body. */
export interface DoorSession {
  readonly name: string;
  /** Where the door stands: identity is closed. */
  readonly door: Pose;
  readonly spacing: number;
  readonly white: number;
  readonly correlated: { readonly sigma: number; readonly length: number };
  readonly frameFromBody?: Pose;
}

const DOOR = { left: -200, right: 120, low: -220, high: 200 } as const;
/** Between door and frame, mm. */
const GAP = 6;

/** Middle of the door's axis, along y. */
export const HINGE: Vec3 = [DOOR.left, 0, relief(DOOR.left, 0)];

/** The door turned about its hinges, degrees. */
export function doorTurned(angleDeg: number): Pose {
  return perturb(IDENTITY_POSE, [0, 0, 0, 0, (-angleDeg * Math.PI) / 180, 0], HINGE);
}

/** The door pushed out of the frame, mm. */
export function doorShifted(shift: number): Pose {
  return { rotation: [1, 0, 0, 0], translation: [0, 0, shift] };
}

/** Height of the front: a little round, with beads. */
function relief(x: number, y: number): number {
  return 60 - (x * x) / 6000 - (y * y) / 9000 + 5 * Math.sin(x / 45) * Math.cos(y / 70);
}

function frontNormal(x: number, y: number): Vec3 {
  const h = 1e-3;
  const fx = (relief(x + h, y) - relief(x - h, y)) / (2 * h);
  const fy = (relief(x, y + h) - relief(x, y - h)) / (2 * h);
  const length = Math.hypot(fx, fy, 1);
  return [-fx / length, -fy / length, 1 / length];
}

/** Captures the front with the door, the right side and the top. */
export function captureDoor(session: DoorSession): DoorScan {
  const random = makeRandom(11, session.name);
  const { spacing, white } = session;
  const body: { place: Vec3; normal: Vec3 }[] = [];
  const door: { place: Vec3; normal: Vec3 }[] = [];
  const grid = (width: number, height: number, add: (u: number, v: number) => void): void => {
    const shift = [random.uniform(), random.uniform()];
    for (let i = 0; (i + 1.5) * spacing < width; i++) {
      for (let j = 0; (j + 1.5) * spacing < height; j++) {
        const jitter = (): number => 0.5 * (random.uniform() - 0.5);
        add((i + shift[0] + 0.5 + jitter()) * spacing, (j + shift[1] + 0.5 + jitter()) * spacing);
      }
    }
  };
  grid(1000, 700, (u, v) => {
    const [x, y] = [u - 500, v - 350];
    const point = { place: [x, y, relief(x, y)] as Vec3, normal: frontNormal(x, y) };
    const isInside = (gap: number): boolean =>
      x > DOOR.left - gap && x < DOOR.right + gap && y > DOOR.low - gap && y < DOOR.high + gap;
    if (isInside(-GAP / 2)) door.push(point);
    else if (!isInside(GAP / 2)) body.push(point);
  });
  // Side and top, a little waved, meeting the front at right angles.
  grid(400, 700, (u, v) => {
    const y = v - 350;
    body.push({ place: [500 + 2 * Math.sin(u / 40), y, relief(500, y) - u], normal: [1, 0, 0.05 * Math.cos(u / 40)] });
  });
  grid(1000, 400, (u, v) => {
    const x = u - 500;
    body.push({ place: [x, 350 + 3 * Math.sin(x / 60), relief(x, 350) - v], normal: [-0.05 * Math.cos(x / 60), 1, 0] });
  });
  const all = [...body, ...door].map(({ place, normal }) => {
    const length = Math.hypot(...normal);
    return { place, normal: normal.map((c) => c / length) as unknown as Vec3 };
  });
  const errors = new Float64Array(all.length);
  const field = makeCorrelatedField(session.correlated, random);
  field.addTo(Float64Array.from(all.flatMap(({ place }) => place)), errors);
  const frame = session.frameFromBody ?? IDENTITY_POSE;
  const points = all.map(({ place, normal }, i): Vec3 => {
    const e = errors[i] + white * random.normal();
    const noisy: Vec3 = [place[0] + e * normal[0], place[1] + e * normal[1], place[2] + e * normal[2]];
    return transformPoint(frame, i < body.length ? noisy : transformPoint(session.door, noisy));
  });
  const viewpoint = { kind: 'direction', direction: rotate(frame.rotation, [0.5, 0.45, 0.74]) } as const;
  return {
    data: scanOf(points, { viewpoint }),
    bodyCount: body.length,
    normals: all.map(({ normal }) => normal),
    places: all.map(({ place }) => place),
  };
}
