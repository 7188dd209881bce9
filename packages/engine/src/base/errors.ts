/**
 * Where in an input something is wrong. Byte offsets count from zero, lines from one.
 */
export interface InputPlace {
  readonly file?: string;
  readonly byteOffset?: number;
  readonly line?: number;
}

/**
 * An error that a person must act on: what happened, and what to do next.
 *
 * `code` is stable and listed in docs/errors.md; the edges map it to an exit code.
 */
export class AppError extends Error {
  readonly code: string;
  readonly hint: string;

  constructor(code: string, message: string, hint: string, options?: { readonly cause?: unknown }) {
    super(message, options);
    this.name = 'AppError';
    this.code = code;
    this.hint = hint;
  }
}

/** An input that cannot be read. Nothing of it is kept. Maps to exit code 3. */
export class FormatError extends AppError {
  readonly place: InputPlace;

  constructor(
    code: string,
    message: string,
    hint: string,
    place: InputPlace = {},
    options?: { readonly cause?: unknown },
  ) {
    super(code, message, hint, options);
    this.name = 'FormatError';
    this.place = place;
  }
}

/** Stopped on request. Passes through every layer untouched. Maps to exit code 130. */
export class CancelledError extends Error {
  constructor() {
    super('Stopped on request.');
    this.name = 'AbortError';
  }
}
