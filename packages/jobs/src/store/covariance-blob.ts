import type { JointCovariance, JsonValue } from '@lapjoint/engine';
import { decodeArrayBlob, encodeArrayBlob, invalidBlob } from './array-blob.ts';

const KIND = 'joint-covariance';

/** Bytes of the covariance of all frames together, in pieces. */
export function encodeCovarianceBlob({ frames, terms, matrix }: JointCovariance): Uint8Array[] {
  return encodeArrayBlob({
    kind: KIND,
    meta: { frames: frames as unknown as JsonValue, terms: terms as unknown as JsonValue },
    arrays: { matrix },
  });
}

/**
 * The covariance in bytes made by `encodeCovarianceBlob`.
 *
 * @throws FormatError `blob-invalid`
 */
export function decodeCovarianceBlob(bytes: Uint8Array): JointCovariance {
  const { meta, arrays } = decodeArrayBlob(bytes, KIND);
  const { matrix } = arrays;
  const frames = meta['frames'] as unknown as JointCovariance['frames'];
  const terms = meta['terms'] as unknown as JointCovariance['terms'];
  if (!Array.isArray(frames) || !Array.isArray(terms)) throw invalidBlob('it names no frames', 0);
  const side = 6 * frames.length + terms.length;
  if (!(matrix instanceof Float64Array) || matrix.length !== side * side) {
    throw invalidBlob('its matrix does not fit its frames', 0);
  }
  return { frames, terms, matrix };
}
