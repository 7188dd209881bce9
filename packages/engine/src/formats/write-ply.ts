import type { RunContext } from '../base/index.ts';
import { type ByteSink, ByteWriter, type WriteSummary } from './byte-sink.ts';
import { checkSurfaceOutput, coordinateRange, float32Rounding, type SurfaceOutput } from './surface-output.ts';

/** Choices of the PLY writer. */
export interface WritePlyOptions {
  /**
   * `auto`: float64 only where float32 would lose more than two bits against coordinates relative to the origin, that
   * is, when a coordinate exceeds four times the object's half extent.
   */
  readonly coordinates?: 'auto' | 'float32' | 'float64';
  /** Comment lines for the header, one line each. */
  readonly comments?: readonly string[];
}

/**
 * Writes a binary little-endian PLY in mm, with everything a vertex has: normal, colour, uncertainty, share of each
 * scan, further properties. The header states the unit in a comment that `readScanFile` understands.
 *
 * Repeats  bit for bit for the same input.
 *
 * @throws RangeError when the arrays do not belong together or hold numbers that are not finite
 */
export async function writePly(
  surface: SurfaceOutput,
  options: WritePlyOptions,
  sink: ByteSink,
  context: RunContext,
): Promise<WriteSummary> {
  checkSurfaceOutput(surface);
  const { positions, normals, colors, triangles, origin } = surface;
  const vertexCount = positions.length / 3;
  const triangleCount = (triangles?.length ?? 0) / 3;
  const range = coordinateRange(surface);
  const wide =
    options.coordinates === 'float64' ||
    (options.coordinates !== 'float32' && range.largest > 4 * Math.max(range.halfExtent, Number.MIN_VALUE));
  const scalars: { name: string; values: Float32Array }[] = [];
  if (surface.uncertainty) scalars.push({ name: 'uncertainty_mm', values: surface.uncertainty });
  const provenance = surface.provenance ?? [];
  provenance.forEach(({ share }, i) => {
    scalars.push({ name: `share_${i}`, values: share });
  });
  for (const [name, values] of Object.entries(surface.properties ?? {})) scalars.push({ name, values });
  const writer = new ByteWriter(sink);
  const header = [
    'ply',
    'format binary_little_endian 1.0',
    'comment unit: mm',
    ...provenance.map(({ scan }, i) => `comment share_${i} is the share of ${oneLine(scan)}`),
    ...(options.comments ?? []).map((comment) => `comment ${oneLine(comment)}`),
    `element vertex ${vertexCount}`,
    ...['x', 'y', 'z'].map((name) => `property ${wide ? 'double' : 'float'} ${name}`),
    ...(normals ? ['nx', 'ny', 'nz'].map((name) => `property float ${name}`) : []),
    ...(colors ? ['red', 'green', 'blue'].map((name) => `property uchar ${name}`) : []),
    ...scalars.map(({ name }) => `property float ${name}`),
    ...(triangles ? [`element face ${triangleCount}`, 'property list uchar int vertex_indices'] : []),
    'end_header',
  ];
  await writer.text(`${header.join('\n')}\n`);
  const { view, bytes } = writer;
  const recordBytes = (wide ? 24 : 12) + (normals ? 12 : 0) + (colors ? 3 : 0) + 4 * scalars.length;
  for (let vertex = 0; vertex < vertexCount; vertex++) {
    if (!writer.hasRoom(recordBytes)) {
      await writer.flush();
      await context.checkpoint((0.5 * vertex) / vertexCount);
    }
    let at = writer.length;
    for (let k = 0; k < 3; k++) {
      const value = origin[k] + positions[3 * vertex + k];
      if (wide) view.setFloat64(at, value, true);
      else view.setFloat32(at, value, true);
      at += wide ? 8 : 4;
    }
    if (normals) for (let k = 0; k < 3; k++, at += 4) view.setFloat32(at, normals[3 * vertex + k], true);
    if (colors) for (let k = 0; k < 3; k++) bytes[at++] = colors[3 * vertex + k];
    for (let k = 0; k < scalars.length; k++, at += 4) view.setFloat32(at, scalars[k].values[vertex], true);
    writer.length = at;
  }
  for (let i = 0; triangles && i < triangles.length; i += 3) {
    if (!writer.hasRoom(13)) {
      await writer.flush();
      await context.checkpoint(0.5 + (0.5 * i) / triangles.length);
    }
    const at = writer.length;
    bytes[at] = 3;
    view.setInt32(at + 1, triangles[i], true);
    view.setInt32(at + 5, triangles[i + 1], true);
    view.setInt32(at + 9, triangles[i + 2], true);
    writer.length = at + 13;
  }
  await writer.flush();
  return { byteCount: writer.byteCount, rounding: wide ? 0 : float32Rounding(range.largest) };
}

function oneLine(text: string): string {
  return text.replace(/[\r\n]+/g, ' ');
}
