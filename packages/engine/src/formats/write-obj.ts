import type { RunContext } from '../base/index.ts';
import { type ByteSink, ByteWriter, type WriteSummary } from './byte-sink.ts';
import { lengthText, numberText } from './decimal-text.ts';
import { checkSurfaceOutput, type SurfaceOutput } from './surface-output.ts';

/** No line of ours is longer. */
const LONGEST_LINE = 256;

/**
 * Writes a Wavefront OBJ in mm: vertices with colours behind the coordinates (0 to 1), normals, triangles. A comment
 * states the unit. Uncertainty and shares are lost.
 *
 * @throws RangeError when the surface does not hold together
 */
export async function writeObj(surface: SurfaceOutput, sink: ByteSink, context: RunContext): Promise<WriteSummary> {
  checkSurfaceOutput(surface);
  const { positions, normals, colors, triangles, origin } = surface;
  const writer = new ByteWriter(sink);
  const steps = positions.length + (normals?.length ?? 0) + (triangles?.length ?? 0);
  let done = 0;
  const makeRoom = async (): Promise<void> => {
    await writer.flush();
    await context.checkpoint(done / steps);
  };
  writer.ascii('# unit: mm\n');
  for (let i = 0; i < positions.length; i += 3, done += 3) {
    if (!writer.hasRoom(LONGEST_LINE)) await makeRoom();
    let text = 'v';
    for (let k = 0; k < 3; k++) text += ` ${lengthText(origin[k] + positions[i + k])}`;
    if (colors) for (let k = 0; k < 3; k++) text += ` ${numberText(colors[i + k] / 255, 4)}`;
    writer.ascii(`${text}\n`);
  }
  for (let i = 0; normals && i < normals.length; i += 3, done += 3) {
    if (!writer.hasRoom(LONGEST_LINE)) await makeRoom();
    writer.ascii(`vn ${numberText(normals[i], 6)} ${numberText(normals[i + 1], 6)} ${numberText(normals[i + 2], 6)}\n`);
  }
  const corner = (index: number): string => (normals ? `${index + 1}//${index + 1}` : `${index + 1}`);
  for (let i = 0; triangles && i < triangles.length; i += 3, done += 3) {
    if (!writer.hasRoom(LONGEST_LINE)) await makeRoom();
    writer.ascii(`f ${corner(triangles[i])} ${corner(triangles[i + 1])} ${corner(triangles[i + 2])}\n`);
  }
  await writer.flush();
  return { byteCount: writer.byteCount, rounding: 5e-7 };
}
