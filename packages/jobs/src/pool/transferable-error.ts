import { AppError, CancelledError, FormatError, type InputPlace } from '@lapjoint/engine';

/** An error as it travels between threads, with all that a person must see. */
export interface TransferableError {
  readonly kind: string;
  readonly message: string;
  readonly stack: string | null;
  readonly code: string | null;
  readonly hint: string | null;
  readonly place: InputPlace | null;
}

/** Takes an error apart for the way to another thread. */
export function packError(error: unknown): TransferableError {
  if (!(error instanceof Error)) {
    return { kind: 'Error', message: String(error), stack: null, code: null, hint: null, place: null };
  }
  return {
    kind: error.name,
    message: error.message,
    stack: error.stack ?? null,
    code: error instanceof AppError ? error.code : null,
    hint: error instanceof AppError ? error.hint : null,
    place: error instanceof FormatError ? error.place : null,
  };
}

function build(packed: TransferableError): Error {
  const { kind, message, code, hint, place } = packed;
  if (kind === 'AbortError') return new CancelledError();
  if (code !== null && place !== null) return new FormatError(code, message, hint ?? '', place);
  if (code !== null) return new AppError(code, message, hint ?? '');
  if (kind === 'RangeError') return new RangeError(message);
  if (kind === 'TypeError') return new TypeError(message);
  const error = new Error(message);
  error.name = kind;
  return error;
}

/** The error again, of the same class, with the stack of the thread it came from. */
export function unpackError(packed: TransferableError): Error {
  const error = build(packed);
  if (packed.stack !== null) error.stack = packed.stack;
  return error;
}
