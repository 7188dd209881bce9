import type { RunContext } from '../base/index.ts';
import { type ByteSink, ByteWriter, type WriteSummary } from './byte-sink.ts';
import { lengthText, numberText } from './decimal-text.ts';
import { checkSurfaceOutput, type SurfaceOutput } from './surface-output.ts';

/** Room kept for one line; wide ones have one column for each scan. */
const LINE_ROOM = 1 << 16;

/**
 * Writes the points as columns. `csv`: commas and a first line with the columns' names and units. `xyz`: blanks and
 * the names in a comment. Always a decimal point.
 *
 * @throws RangeError when the surface does not hold together
 */
export async function writePoints(
  surface: SurfaceOutput,
  layout: 'csv' | 'xyz',
  sink: ByteSink,
  context: RunContext,
): Promise<WriteSummary> {
  checkSurfaceOutput(surface);
  const { positions, normals, colors, origin, uncertainty } = surface;
  const scalars: { readonly name: string; readonly values: Float32Array }[] = [
    ...(uncertainty ? [{ name: 'uncertainty_mm', values: uncertainty }] : []),
    ...(surface.provenance ?? []).map(({ share }, i) => ({ name: `share_${i}`, values: share })),
    ...Object.entries(surface.properties ?? {}).map(([name, values]) => ({ name, values })),
  ];
  const separator = layout === 'csv' ? ',' : ' ';
  const names = [
    ...['x_mm', 'y_mm', 'z_mm'],
    ...(normals ? ['nx', 'ny', 'nz'] : []),
    ...(colors ? ['red', 'green', 'blue'] : []),
    ...scalars.map(({ name }) => name),
  ];
  const writer = new ByteWriter(sink);
  await writer.text(`${layout === 'csv' ? '' : '# '}${names.join(separator)}\n`);
  for (let i = 0; i < positions.length; i += 3) {
    if (!writer.hasRoom(LINE_ROOM)) {
      await writer.flush();
      await context.checkpoint(i / positions.length);
    }
    let text = '';
    for (let k = 0; k < 3; k++) text += (k > 0 ? separator : '') + lengthText(origin[k] + positions[i + k]);
    if (normals) for (let k = 0; k < 3; k++) text += separator + numberText(normals[i + k], 6);
    if (colors) for (let k = 0; k < 3; k++) text += separator + colors[i + k];
    for (const { values } of scalars) text += separator + numberText(values[i / 3], 9);
    writer.ascii(`${text}\n`);
  }
  await writer.flush();
  return { byteCount: writer.byteCount, rounding: 5e-7 };
}
