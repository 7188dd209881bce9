// Reads the sources and collects their texts, each with the files it stands in.
import { readdirSync, readFileSync } from 'node:fs';
import { join, relative, sep } from 'node:path';
import { fileURLToPath } from 'node:url';
import ts from 'typescript';
import {
  bare,
  CODE_PROPERTIES,
  calleeName,
  choiceOf,
  functionsWithTexts,
  initialiserOf,
  isLetters,
  isString,
  isTable,
  isTextual,
  LIBRARY_TEXTS,
  NAME_NAMES,
  ONLY_MESSAGES,
  OPAQUE_CALLS,
  placeOf,
  TEXT_NAMES,
  TEXT_PROPERTIES,
  UNITS,
} from './text-rules.mjs';

const root = fileURLToPath(new URL('..', import.meta.url));
/** The README of a demo is an exported file, in English as the others. */
const LEFT_OUT = /demo-guide\.ts$|simulate\/cabin\/cabin-/;
const SOURCES = ['packages/engine/src', 'packages/jobs/src', 'packages/cli/src'];

class Extraction {
  constructor() {
    this.texts = new Map();
  }

  add(text, fileName) {
    const files = this.texts.get(text) ?? new Set();
    this.texts.set(text, files);
    files.add(fileName);
  }

  file(path) {
    const fileName = relative(root, path).split(sep).join('/');
    const source = ts.createSourceFile(path, readFileSync(path, 'utf8'), ts.ScriptTarget.ES2023, true);
    new FileExtraction(this, source, fileName).visit(source, {});
  }
}

class FileExtraction {
  constructor(all, source, fileName) {
    this.all = all;
    this.source = source;
    this.fileName = fileName;
    this.onlyMessages = ONLY_MESSAGES.test(fileName);
    this.isReport = /\/report\/|report-input|truth-of-job/.test(fileName);
    this.textFunctions = functionsWithTexts(source);
    this.taken = new Set();
  }

  /** What an expression in a place holds. */
  holds(node) {
    const inner = bare(node);
    if (ts.isIdentifier(inner)) return this.holdsByName(inner.text);
    if (ts.isPropertyAccessExpression(inner)) {
      if (inner.name.text === 'name' && /view|row/.test(inner.expression.getText(this.source))) return 'text';
      return this.holdsByName(inner.name.text);
    }
    if (ts.isElementAccessExpression(inner)) return this.holds(inner.expression);
    if (ts.isCallExpression(inner)) {
      const name = calleeName(inner);
      if (/^(format|round|to(Fixed|Precision|String)|mm|size|share|inWords)/.test(name)) return 'value';
      if (name === 'basename' || name === 'relative') return 'name';
      if (name === 'join' || name === 'slice' || name === 'toLowerCase' || name === 'toUpperCase' || name === 'String')
        return ts.isPropertyAccessExpression(inner.expression)
          ? this.holds(inner.expression.expression)
          : this.holds(inner.arguments[0]);
      if (ts.isPropertyAccessExpression(inner.expression) && /^(map|filter|flatMap)$/.test(name)) {
        const callback = inner.arguments[0];
        if (name === 'map' && callback && ts.isArrowFunction(callback) && !ts.isBlock(callback.body)) {
          return isTextual(callback.body) ? 'text' : this.holds(callback.body);
        }
        return this.holds(inner.expression.expression);
      }
      return name === 'countOf' || this.textFunctions.has(name) || TEXT_NAMES.test(name) ? 'text' : 'value';
    }
    if (ts.isConditionalExpression(inner) || ts.isBinaryExpression(inner)) return isTextual(inner) ? 'text' : 'value';
    return 'value';
  }

  holdsByName(name) {
    if (NAME_NAMES.test(name)) return 'name';
    return TEXT_NAMES.test(name) ? 'text' : 'value';
  }

  /** An expression as fixed strings, places and choices. */
  parts(node, depth = 0) {
    const inner = bare(node);
    if (isString(inner)) {
      this.taken.add(inner);
      return [inner.text];
    }
    if (depth > 8) return [placeOf('text')];
    if (ts.isTemplateExpression(inner)) {
      this.taken.add(inner);
      return [
        inner.head.text,
        ...inner.templateSpans.flatMap((span) => [...this.parts(span.expression, depth + 1), span.literal.text]),
      ];
    }
    if (ts.isBinaryExpression(inner) && isTextual(inner)) {
      if (inner.operatorToken.kind === ts.SyntaxKind.PlusToken) {
        this.taken.add(inner);
        return [...this.parts(inner.left, depth + 1), ...this.parts(inner.right, depth + 1)];
      }
      const otherwise = bare(inner.right);
      if (isString(otherwise) && !isLetters(otherwise.text)) return this.parts(inner.left, depth + 1);
      return [choiceOf([this.parts(inner.left, depth + 1), this.parts(inner.right, depth + 1)])];
    }
    if (ts.isCallExpression(inner) && calleeName(inner) === 'textTable') return ['\n'];
    if (ts.isConditionalExpression(inner) && isTextual(inner)) {
      return [choiceOf([this.parts(inner.whenTrue, depth + 1), this.parts(inner.whenFalse, depth + 1)])];
    }
    if (ts.isIdentifier(inner)) {
      const initialiser = initialiserOf(inner);
      if (initialiser && (isTextual(initialiser) || isTable(initialiser))) return this.parts(initialiser, depth + 1);
    }
    return [placeOf(this.holds(inner))];
  }

  /** All plain forms of parts; null when there are too many. */
  forms(parts) {
    let forms = [[]];
    for (const part of parts) {
      const next =
        part.choice === undefined
          ? [[part]]
          : part.choice.flatMap((choice) => this.forms(choice) ?? [[placeOf('text')]]);
      forms = forms.flatMap((form) => next.map((more) => [...form, ...more]));
      if (forms.length > 16) return null;
    }
    return forms;
  }

  accept(parts, isWord) {
    const forms = this.forms(parts);
    if (forms === null) {
      // Too many: the choices become places, and stand for themselves.
      for (const part of parts) if (part.choice) for (const choice of part.choice) this.accept(choice, true);
      return this.accept(
        parts.map((part) => (part.choice ? placeOf('text') : part)),
        isWord,
      );
    }
    for (const form of forms) this.acceptForm(form, isWord);
    // A choice that stands alone in its text node or line is found as such, too.
  }

  acceptForm(form, isWord) {
    const lines = [[]];
    for (const part of form) {
      if (typeof part !== 'string') lines.at(-1).push(part);
      else {
        const [first, ...rest] = part.split('\n');
        lines.at(-1).push(first);
        for (const more of rest) lines.push([more]);
      }
    }
    for (const line of lines) this.acceptLine(line, isWord || lines.length > 1);
  }

  acceptLine(line, isWord) {
    let count = 0;
    const text = line
      .map((part) => {
        if (typeof part === 'string') return part.replace(/[{}]/g, '');
        const mark = part.place === 'text' ? '*' : part.place === 'name' ? '=' : '';
        return `{${count++}${mark}}`;
      })
      .join('')
      .trim();
    const fixed = text.replace(/\{\d+[*=]?\}/g, ' ');
    if (!isLetters(fixed)) return;
    const words = fixed.match(/\p{L}{2,}/gu) ?? [];
    if (words.every((word) => UNITS.has(word))) return;
    // Codes, keys, colours, paths, lines of styles and of drawings.
    if (/^[\w./-]*[\w-]+\/[\w./{}*=-]*$/.test(text) || /^--?[\w-]+$/.test(text)) return;
    if (/[;{]\s*[\w-]+:\S|^[MmLlHhVvCc][\d{-]|:\/\/|^\.|^#[0-9a-f]{3,8}$|^<|^rgb|^[\w-]+=$/i.test(text)) return;
    if (
      /^[a-z]+([A-Z][a-z0-9]*)+$|^\S*_\S*$|^[A-Z0-9]+$|^[a-z]+(-[a-z0-9]+)+$|\.(csv|json|ply|stl|obj|glb|html|mjs|ts|part)$/.test(
        text,
      )
    )
      return;
    if (/^(lapjoint|npx|scan_number|fused surface; uncertainty_mm) |^[a-z]+-\{\d[*=]?\}$|^--[\w-]+ \{|="/.test(text))
      return;
    const single = !/\s/.test(text.replace(/\{\d+[*=]?\}/g, ''));
    if (single && !isWord) return;
    if (single && words.length === 1 && count === 0 && words[0].length < 3 && words[0] !== 'no') return;
    this.all.add(text, this.fileName);
  }

  /** Text nodes and read attributes of a piece of HTML. */
  acceptHtml(parts) {
    const marks = [];
    const flat = parts
      .map((part) => {
        if (typeof part === 'string') return part;
        marks.push(part);
        return String.fromCharCode(0xe000 + marks.length - 1);
      })
      .join('');
    const back = (text) =>
      text.split(/([\ue000-\uefff])/).flatMap((piece) => {
        if (piece === '') return [];
        const code = piece.charCodeAt(0) - 0xe000;
        if (code < 0 || code >= 0x1000) {
          const plain = piece
            .replace(/&nbsp;/g, '\u00a0')
            .replace(/&lt;/g, '<')
            .replace(/&gt;/g, '>')
            .replace(/&amp;/g, '&');
          return [plain];
        }
        return [marks[code]];
      });
    const withTags = (part) => part.choice?.some((choice) => this.hasTags(choice)) === true;
    const node = (text) => {
      let run = [];
      for (const part of [...back(text), null]) {
        if (part !== null && !withTags(part)) {
          run.push(part);
          continue;
        }
        if (run.length > 0) this.accept(run, true);
        run = [];
        if (part !== null) for (const choice of part.choice) this.acceptParts(choice, true);
      }
    };
    const tokens = flat.match(/<[^>]*>?|[^<]+/g) ?? [];
    let opaque = '';
    for (const token of tokens) {
      if (token.startsWith('<')) {
        for (const [, key, value] of token.matchAll(/\s([\w-]+)="([^"]*)"/g)) {
          if (/^(alt|title|aria-label|data-pattern)$/.test(key)) node(value);
        }
        const [, end, name] = /^<(\/?)([\w-]+)/.exec(token) ?? [];
        if (/^(style|script|pre|code)$/.test(name ?? '')) opaque = end ? '' : name;
      } else if (opaque === '') node(token);
    }
  }

  hasTags(parts) {
    return parts.some((part) =>
      typeof part === 'string'
        ? /<\/?[a-z][^>]*>|<[a-z]+[ >]/i.test(part)
        : (part.choice?.some((choice) => this.hasTags(choice)) ?? false),
    );
  }

  acceptParts(parts, isWord) {
    if (this.hasTags(parts)) this.acceptHtml(parts);
    else this.accept(parts, isWord);
  }

  visit(node, context) {
    if (ts.isInterfaceDeclaration(node) && /\/model\/|log-job/.test(this.fileName)) this.takeStates(node);
    if (
      ts.isImportDeclaration(node) ||
      ts.isExportDeclaration(node) ||
      ts.isTypeNode(node) ||
      ts.isInterfaceDeclaration(node)
    )
      return;
    if (
      ts.isTypeAliasDeclaration(node) &&
      /\/model\//.test(this.fileName) &&
      /(Status|State|Kind)$/.test(node.name.text)
    )
      this.takeLiterals(node.type);
    if (ts.isTypeAliasDeclaration(node) || ts.isCaseClause(node)) {
      if (ts.isCaseClause(node)) for (const statement of node.statements) this.visit(statement, context);
      return;
    }
    if (ts.isPropertyAssignment(node)) {
      const name = node.name.getText(this.source).replace(/['"]/g, '');
      if (CODE_PROPERTIES.test(name) && !(name === 'frame' || ts.isTemplateExpression(bare(node.initializer)))) {
        if (isTextual(node.initializer) && !this.isReport) return;
      }
      const isRow =
        name === 'name' &&
        node.parent.properties?.some((other) => /^(meaning|holds)$/.test(other.name?.getText(this.source) ?? ''));
      const strong = isRow || (TEXT_PROPERTIES.test(name) && name !== 'name' && name !== 'value' && name !== 'frame');
      this.visit(node.initializer, { ...context, word: strong || context.table, strong: strong || context.strong });
      return;
    }
    if (ts.isBinaryExpression(node)) {
      const kind = node.operatorToken.kind;
      if (kind >= ts.SyntaxKind.EqualsEqualsToken && kind <= ts.SyntaxKind.ExclamationEqualsEqualsToken) {
        for (const side of [node.left, node.right]) if (!isString(bare(side))) this.visit(side, {});
        return;
      }
    }
    if (ts.isElementAccessExpression(node)) {
      this.visit(node.expression, {});
      if (!isString(bare(node.argumentExpression))) this.visit(node.argumentExpression, {});
      return;
    }
    if (ts.isNewExpression(node) || ts.isCallExpression(node)) {
      this.visitCall(node, context);
      return;
    }
    if (ts.isArrayLiteralExpression(node) && this.isReport && node.elements.some((element) => isString(element))) {
      for (const element of node.elements) this.visit(element, { ...context, word: true });
      return;
    }
    if (ts.isReturnStatement(node) && node.expression) {
      this.visit(node.expression, {
        ...context,
        word: context.word || this.isReport || this.fileName.includes('cli/src'),
      });
      return;
    }
    if (isTextual(node) && !this.taken.has(node)) {
      this.takeText(node, context);
      return;
    }
    if (ts.isFunctionLike(node)) {
      const body = node.body;
      for (const parameter of node.parameters) if (parameter.initializer) this.visit(parameter.initializer, context);
      if (body) this.visit(body, ts.isBlock(body) ? { strong: context.strong } : context);
      return;
    }
    ts.forEachChild(node, (child) => this.visit(child, context));
  }

  /** States and kinds that are shown as they are named in the code. */
  takeStates(node) {
    for (const member of node.members) {
      if (!ts.isPropertySignature(member) || !/^(status|state|kind)$/.test(member.name.getText(this.source))) continue;
      this.takeLiterals(member.type);
    }
  }

  takeLiterals(node) {
    for (const type of node && ts.isUnionTypeNode(node) ? node.types : [node]) {
      if (type && ts.isLiteralTypeNode(type) && isString(type.literal)) this.all.add(type.literal.text, this.fileName);
    }
  }

  takeText(node, context) {
    const parts = this.parts(node);
    // A word that is padded to a column is shown.
    const isPadded = isString(node) && /\S\s{2,}$/.test(node.text);
    if (!this.onlyMessages || context.strong) this.acceptParts(parts, context.word === true || isPadded);
    // What stands inside places may hold texts of its own.
    const inside = (inner) => {
      if (isString(inner) || ts.isTypeNode(inner)) return;
      if (
        (ts.isCallExpression(inner) || ts.isNewExpression(inner) || ts.isArrowFunction(inner)) &&
        !/^(strong|alarm|escapeHtml)$/.test(ts.isCallExpression(inner) ? calleeName(inner) : '')
      ) {
        this.visit(inner, { ...context, word: context.word || this.isReport });
        return;
      }
      ts.forEachChild(inner, inside);
    };
    inside(node);
  }

  visitCall(node, context) {
    const name = calleeName(node);
    const args = node.arguments ?? [];
    if (!ts.isIdentifier(node.expression)) this.visit(node.expression, context);
    if (/^(AppError|FormatError|InvalidArgumentError)$/.test(name)) {
      args.forEach((arg, i) => {
        if (i > 0 || name === 'InvalidArgumentError') this.visit(arg, { strong: true, word: true });
      });
      return;
    }
    if (/^(checkpoint|progress|onProgress)$/.test(name)) {
      for (const [i, arg] of args.entries()) this.visit(arg, i === 1 ? { strong: true, word: true } : {});
      return;
    }
    if (name === 'shown' || name === 'translate') {
      if (args[0]) this.visit(args[0], { strong: true, word: true });
      return;
    }
    if (OPAQUE_CALLS.test(name)) {
      for (const arg of args) if (!isTextual(arg)) this.visit(arg, context);
      return;
    }
    if (
      name === 'option' ||
      (name === 'Option' && ts.isNewExpression(node)) ||
      name === 'helpOption' ||
      name === 'helpCommand' ||
      name === 'version'
    ) {
      args.forEach((arg, i) => {
        if (i > 0 && !(name === 'version' && i === 1)) this.visit(arg, { strong: true, word: true });
      });
      return;
    }
    if (name === 'defineCommand' || name === 'perform') {
      // Signatures and examples are typed as they stand.
      args.forEach((arg, i) => {
        if (name === 'defineCommand' ? i === 2 : !isTextual(arg)) this.visit(arg, { strong: true, word: false });
      });
      return;
    }
    if (name === 'add' && args.length > 3) {
      // findings.add(severity, code, message, remedy)
      for (const arg of args.slice(2)) this.visit(arg, { strong: true, word: true });
      return;
    }
    if (name === 'countOf') {
      const words = args
        .slice(1)
        .filter(isString)
        .map((word) => word.text);
      if (words.length === 1) words.push(`${words[0]}s`);
      for (const word of words) this.all.add(`{0} ${word}`, this.fileName);
      return;
    }
    if (name === 'textTable') {
      for (const arg of args) this.visit(arg, { ...context, word: true, table: true });
      return;
    }
    if (name === 'warning') {
      // warning(code, subject, message, remedy)
      for (const arg of args.slice(2)) this.visit(arg, { strong: true, word: true });
      return;
    }
    if (name === 'fault' || name === 'refuse' || name === 'damaged' || /^(fail|invalid|wrong|unusable)/i.test(name)) {
      for (const arg of args) this.visit(arg, { strong: true, word: false });
      return;
    }
    const shows =
      /^(say|result|writeError|writeOut|ask|push|defineCommand|description|figureHtml|titleBlock|uncertaintyFigures|scaleLegend)$/.test(
        name,
      );
    const cell = name === 'push' && (this.isReport || this.fileName.includes('cli/src'));
    for (const arg of args)
      this.visit(arg, {
        ...context,
        // In the report a capital begins a heading, whatever function lays it out.
        word:
          (shows && (cell || name !== 'push')) ||
          (context.table && name === 'map') ||
          (this.isReport && isString(arg) && /^[A-Z][a-z]/.test(arg.text)) ||
          false,
        strong: context.strong || (shows && !this.onlyMessages),
      });
  }
}

/** Every text, sorted, with the files it stands in. */
export function extractTexts() {
  const all = new Extraction();
  for (const folder of SOURCES) {
    const files = readdirSync(join(root, folder), { recursive: true }).map(String);
    for (const file of files.sort()) {
      if (file.endsWith('.ts') && !file.includes('assembly') && !file.includes('generated') && !LEFT_OUT.test(file))
        all.file(join(root, folder, file));
    }
  }
  for (const text of LIBRARY_TEXTS) all.add(text, 'the library that reads the command line');
  const keys = [...all.texts.keys()].sort();
  return Object.fromEntries(keys.map((key) => [key, [...all.texts.get(key)].sort().join(' ')]));
}
