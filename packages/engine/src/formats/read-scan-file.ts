import { FormatError, type RunContext } from '../base/index.ts';
import { ByteReader } from './byte-reader.ts';
import { type ByteSource, bytesInMemory } from './byte-source.ts';
import { type RawScan, ReadFindings, type ReadScanOptions } from './raw-scan.ts';
import { readObj } from './read-obj.ts';
import { readOff } from './read-off.ts';
import { readPcd } from './read-pcd.ts';
import { readPly } from './read-ply.ts';
import { readPointsText } from './read-points-text.ts';
import { readAsciiStl, readBinaryStl } from './read-stl.ts';
import { type DetectedFormat, detectScanFormat } from './scan-format.ts';

/**
 * Reads a scan from a file of any known format, which is told by the file's content, not by its name.
 *
 * Units    none are assumed: see `unitProposal` and `toScanData`.
 * Memory   the result and a window of 1 MiB on the file. A source of unknown length is gathered in memory first.
 * Limits   incomplete files give what is complete, with a warning in `findings`; all findings are in the result, none
 *          go to the context.
 *
 * @throws FormatError when nothing usable can be read: code, place and what to do
 * @example
 * const raw = await readScanFile(source, {}, context);
 * const unit = raw.statedUnit ?? answerOf(unitProposal(raw));
 * const scan = toScanData(raw, unit);
 */
export async function readScanFile(
  source: ByteSource,
  options: ReadScanOptions,
  context: RunContext,
): Promise<RawScan> {
  const sized = source.size === null ? await gather(source) : source;
  const reader = new ByteReader(sized);
  const findings = new ReadFindings(options.subject ?? source.name);
  const detected = await detectScanFormat(reader);
  if (detected.formatByName !== null && detected.formatByName !== detected.format) {
    findings.add(
      'note',
      'scan-name-misleading',
      `${source.name} is by its content ${FORMAT_NAMES[detected.format]}, and was read as that.`,
      'Nothing to do.',
    );
  }
  skipByteOrderMark(reader, detected);
  try {
    const scan = await read(detected, reader, options, findings, context);
    await context.checkpoint(1);
    return scan;
  } catch (error) {
    if (error instanceof RangeError) {
      throw new FormatError(
        'scan-too-large',
        `${source.name} needs more memory than there is (${error.message}).`,
        'Split the scan, or check that the counts in its header are right.',
        { file: source.name },
        { cause: error },
      );
    }
    throw error;
  }
}

const FORMAT_NAMES: Readonly<Record<DetectedFormat['format'], string>> = {
  ply: 'a PLY',
  stl: 'an STL',
  obj: 'an OBJ',
  off: 'an OFF',
  pcd: 'a PCD',
  'points-text': 'a list of points',
};

function read(
  detected: DetectedFormat,
  reader: ByteReader,
  options: ReadScanOptions,
  findings: ReadFindings,
  context: RunContext,
): Promise<RawScan> {
  switch (detected.format) {
    case 'ply':
      return readPly(reader, options, findings, context);
    case 'stl':
      return (detected.binary ? readBinaryStl : readAsciiStl)(reader, options, findings, context);
    case 'obj':
      return readObj(reader, findings, context);
    case 'off':
      return readOff(reader, findings, context);
    case 'pcd':
      return readPcd(reader, options, findings, context);
    case 'points-text':
      return readPointsText(reader, findings, context);
  }
}

/** A UTF-8 byte order mark in front of text is no content. */
function skipByteOrderMark(reader: ByteReader, detected: DetectedFormat): void {
  const { bytes, start } = reader;
  if (!detected.binary && bytes[start] === 0xef && bytes[start + 1] === 0xbb && bytes[start + 2] === 0xbf) {
    reader.start += 3;
  }
}

async function gather(source: ByteSource): Promise<ByteSource> {
  let bytes = new Uint8Array(1 << 20);
  let length = 0;
  for (;;) {
    if (length === bytes.length) {
      const larger = new Uint8Array(2 * bytes.length);
      larger.set(bytes);
      bytes = larger;
    }
    const count = await source.read(length, bytes.subarray(length));
    if (count === 0) return bytesInMemory(source.name, bytes.subarray(0, length));
    length += count;
  }
}
