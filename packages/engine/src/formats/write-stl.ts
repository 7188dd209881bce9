import type { RunContext } from '../base/index.ts';
import { type ByteSink, ByteWriter, type WriteSummary } from './byte-sink.ts';
import { checkSurfaceOutput, coordinateRange, float32Rounding, type SurfaceOutput } from './surface-output.ts';

/**
 * Writes a binary STL in mm. The header names the unit and does not begin with `solid`; facet normals follow from the
 * corners as they are written, and are zero for facets without area.
 *
 * STL keeps nothing but triangles in float32: colours and uncertainty are lost, and far from the frame's zero the
 * coordinates are rounded as the summary says.
 *
 * @throws RangeError when the surface has no triangles or does not hold together
 */
export async function writeStl(surface: SurfaceOutput, sink: ByteSink, context: RunContext): Promise<WriteSummary> {
  checkSurfaceOutput(surface);
  const { positions, triangles, origin } = surface;
  if (!triangles || triangles.length === 0) throw new RangeError('An STL needs triangles.');
  const writer = new ByteWriter(sink);
  const { view, bytes } = writer;
  writer.ascii('binary STL, unit: mm'.padEnd(80, ' '));
  view.setUint32(80, triangles.length / 3, true);
  writer.length = 84;
  const corner = new Float32Array(9);
  for (let i = 0; i < triangles.length; i += 3) {
    if (!writer.hasRoom(50)) {
      await writer.flush();
      await context.checkpoint(i / triangles.length);
    }
    for (let k = 0; k < 9; k++) {
      const axis = k % 3;
      corner[k] = origin[axis] + positions[3 * triangles[i + (k - axis) / 3] + axis];
    }
    const at = writer.length;
    facetNormal(corner, view, at);
    for (let k = 0; k < 9; k++) view.setFloat32(at + 12 + 4 * k, corner[k], true);
    bytes[at + 48] = 0;
    bytes[at + 49] = 0;
    writer.length = at + 50;
  }
  await writer.flush();
  return { byteCount: writer.byteCount, rounding: float32Rounding(coordinateRange(surface).largest) };
}

function facetNormal(corner: Float32Array, out: DataView, at: number): void {
  const ux = corner[3] - corner[0];
  const uy = corner[4] - corner[1];
  const uz = corner[5] - corner[2];
  const vx = corner[6] - corner[0];
  const vy = corner[7] - corner[1];
  const vz = corner[8] - corner[2];
  const x = uy * vz - uz * vy;
  const y = uz * vx - ux * vz;
  const z = ux * vy - uy * vx;
  const length = Math.sqrt(x * x + y * y + z * z);
  out.setFloat32(at, length > 0 ? x / length : 0, true);
  out.setFloat32(at + 4, length > 0 ? y / length : 0, true);
  out.setFloat32(at + 8, length > 0 ? z / length : 0, true);
}
