import {
  add,
  cross,
  distance,
  dot,
  norm,
  normalize,
  quaternionOfVector,
  rotate,
  scale,
  subtract,
  type Vec3,
} from '../../math/index.ts';
import { type CurvedStretch, gridLines, stepsAround } from './grid-lines.ts';
import { SolidBuilder, type SolidShape } from './solid-mesh.ts';

/** A round tube along a path of straight lines with rounded bends. */
export interface TubeOptions {
  readonly path: readonly Vec3[];
  readonly radius: number;
  readonly bendRadius: number;
  /** Joins the end to the start. Default false: flat ends. */
  readonly closed?: boolean;
}

interface PathPiece {
  readonly length: number;
  readonly start: Vec3;
  readonly direction: Vec3;
  /** For a bend: axis, angle and centre. */
  readonly bend: { readonly axis: Vec3; readonly angle: number; readonly centre: Vec3 } | null;
}

/** Straight pieces and arcs that touch the corners' two sides. */
function pathPieces(options: TubeOptions): PathPiece[] {
  const { path, bendRadius, closed } = options;
  const count = path.length;
  const corner = (k: number): { cut: number; angle: number; axis: Vec3; centre: Vec3; out: Vec3 } | null => {
    if (!closed && (k === 0 || k === count - 1)) return null;
    const here = path[k];
    const incoming = normalize(subtract(here, path[(k + count - 1) % count]));
    const out = normalize(subtract(path[(k + 1) % count], here));
    const turn = cross(incoming, out);
    if (norm(turn) < 1e-9) return null;
    const angle = Math.atan2(norm(turn), dot(incoming, out));
    const axis = normalize(turn);
    const cut = bendRadius * Math.tan(angle / 2);
    const start = subtract(here, scale(incoming, cut));
    return { cut, angle, axis, centre: add(start, scale(cross(axis, incoming), bendRadius)), out };
  };
  const corners = path.map((_, k) => corner(k));
  const pieces: PathPiece[] = [];
  for (let k = 0; k < (closed ? count : count - 1); k++) {
    const next = (k + 1) % count;
    const direction = normalize(subtract(path[next], path[k]));
    const from = corners[k]?.cut ?? 0;
    const length = distance(path[k], path[next]) - from - (corners[next]?.cut ?? 0);
    if (length < -1e-9) throw new RangeError('The bends of a tube overlap.');
    const start = add(path[k], scale(direction, from));
    if (length > 1e-9) pieces.push({ length, start, direction, bend: null });
    const c = corners[next];
    if (c) {
      pieces.push({
        length: c.angle * bendRadius,
        start: add(start, scale(direction, Math.max(length, 0))),
        direction,
        bend: { axis: c.axis, angle: c.angle, centre: c.centre },
      });
    }
  }
  return pieces;
}

/** Cuts a tube along its path; sections turn as little as possible. */
export function tube(options: TubeOptions): SolidShape {
  const pieces = pathPieces(options);
  const { radius } = options;
  return (tessellation) => {
    const builder = new SolidBuilder();
    const around = stepsAround(radius, 2 * Math.PI, tessellation);
    let side = normalize(cross(pieces[0].direction, Math.abs(pieces[0].direction[2]) < 0.9 ? [0, 0, 1] : [1, 0, 0]));
    const rings: number[][] = [];
    pieces.forEach((piece, k) => {
      // The outermost line of a bend has the radius of the bend plus that of the tube, measured along the centre line.
      const outer = options.bendRadius ** 2 / (options.bendRadius + radius);
      const curved: CurvedStretch[] = piece.bend ? [{ from: 0, to: piece.length, radius: outer }] : [];
      const stations = gridLines(0, piece.length, curved, tessellation);
      const isLast = k === pieces.length - 1 && !options.closed;
      const sections = isLast ? stations : stations.slice(0, -1);
      const sideHere = side;
      const frameAt = (s: number): { centre: Vec3; side: Vec3; direction: Vec3 } => {
        if (!piece.bend) {
          return { centre: add(piece.start, scale(piece.direction, s)), side: sideHere, direction: piece.direction };
        }
        const q = quaternionOfVector(scale(piece.bend.axis, (piece.bend.angle * s) / piece.length));
        return {
          centre: add(piece.bend.centre, rotate(q, subtract(piece.start, piece.bend.centre))),
          side: rotate(q, sideHere),
          direction: rotate(q, piece.direction),
        };
      };
      sections.forEach((station, m) => {
        const isEnd = (k === 0 && m === 0 && !options.closed) || (isLast && m === sections.length - 1);
        const ring: number[] = [];
        for (let i = 0; i < around; i++) {
          let angle = (2 * Math.PI * i) / around;
          let s = station;
          if (tessellation.jitter !== null) {
            angle += (0.8 * Math.PI * (tessellation.jitter.uniform() - 0.5)) / around;
            const shift = 0.3 * tessellation.jitter.uniform();
            if (!isEnd && m + 1 < stations.length) s += shift * (stations[m + 1] - station);
          }
          const frame = frameAt(s);
          const up = cross(frame.direction, frame.side);
          const offset = add(scale(frame.side, radius * Math.cos(angle)), scale(up, radius * Math.sin(angle)));
          ring.push(builder.add(...(add(frame.centre, offset) as [number, number, number])));
        }
        rings.push(ring);
      });
      side = frameAt(piece.length).side;
    });
    const first = rings[0];
    if (options.closed) {
      // A closed path in a plane brings the section back as it started.
      rings.push(first);
    } else {
      const last = rings[rings.length - 1];
      const end = pieces[pieces.length - 1];
      const q = end.bend ? quaternionOfVector(scale(end.bend.axis, end.bend.angle)) : null;
      const tip =
        q && end.bend
          ? add(end.bend.centre, rotate(q, subtract(end.start, end.bend.centre)))
          : add(end.start, scale(end.direction, end.length));
      const startCentre = builder.add(...(pieces[0].start as [number, number, number]));
      const endCentre = builder.add(...(tip as [number, number, number]));
      for (let i = 0; i < around; i++) {
        const j = (i + 1) % around;
        builder.triangle(startCentre, first[j], first[i]);
        builder.triangle(endCentre, last[i], last[j]);
      }
    }
    for (let k = 1; k < rings.length; k++) {
      for (let i = 0; i < around; i++) {
        const j = (i + 1) % around;
        builder.quad(rings[k - 1][i], rings[k - 1][j], rings[k][j], rings[k][i]);
      }
    }
    return builder.finish();
  };
}
