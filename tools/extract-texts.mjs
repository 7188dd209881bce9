// Collects every text that people see from the sources into packages/cli/texts/en.json, with the files it stands in.
//   node tools/extract-texts.mjs           says whether the list is current, and how much each language covers
//   node tools/extract-texts.mjs --write   writes the list anew
//   node tools/extract-texts.mjs --prune de     takes out of a language what is no longer used
//   node tools/extract-texts.mjs --missing de   prints what a language lacks, as JSON to fill in
import { existsSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join, relative, sep } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import ts from 'typescript';

const root = fileURLToPath(new URL('..', import.meta.url));
export const TEXTS_FOLDER = join(root, 'packages', 'cli', 'texts');
/** The README of a demo is an exported file, in English as the others. */
const LEFT_OUT = /demo-guide\.ts$|simulate\/cabin\/cabin-/;
const SOURCES = ['packages/engine/src', 'packages/jobs/src', 'packages/cli/src'];

/** Files whose strings are parts of file formats or of drawings, not texts; errors and findings in them still count. */
const ONLY_MESSAGES =
  /engine\/src\/(formats|geometry|math|simulate|covariance)\/|jobs\/src\/(store|pool)\/|color-maps|report-style|encode-png|base\/translate|escape-html|translate-report/;

/** Texts of the library that reads the command line, and answers. */
const LIBRARY_TEXTS = [
  'Usage:',
  'Options:',
  'Arguments:',
  'Commands:',
  "error: unknown option '{0=}'",
  "error: unknown command '{0=}'",
  "error: missing required argument '{0=}'",
  "error: option '{0=}' argument missing",
  "error: option '{0=}' argument '{1=}' is invalid. {2*}",
  "error: command-argument value '{0=}' is invalid for argument '{1=}'. {2*}",
  'error: too many arguments. Expected {0} argument but got {1}.',
  'error: too many arguments. Expected {0} arguments but got {1}.',
  "error: too many arguments for '{0=}'. Expected {1} argument but got {2}.",
  "error: too many arguments for '{0=}'. Expected {1} arguments but got {2}.",
  'Allowed choices are {0=}.',
  '(Did you mean {0=}?)',
  '(Did you mean one of {0=}?)',
  '{0*} (choices: {1=})',
  // The first line of a job's history; between texts in a row; answers to a question.
  'new job {0=}',
  'and',
  'y',
  'yes',
  'n',
  'no',
];

/** Properties, parameters and variables that hold texts; what stands in a place of such a name is translated in turn. */
const TEXT_NAMES =
  /(message|remedy|hint|question|summary|reason|meaning|description|caption|heading|title|label|words?|note|text|shows|holds|content|evidence|change|advice|why|what|how|caution|phrase|clause|sentence|beyond|weakdirections?|directions?|unknown|part|nextundo|nextredo|next|done|end|rest|place|pattern|detail|explanation|statement|status|verdict|state|kind|from|direction|basis|effect|cause|mark|source)s?$/i;
/** Names that are shown as they are. */
const NAME_NAMES =
  /^(name|file|files|path|folder|output|frames?|frame[AB]|session|id|ids|scan|scans|target|targets|subject|unit|units|command|option|flag|version|sha256|code|instrument|url|seed|feature|job|jobName|host|ending|proposal|statedUnit|date|time|ENGINE_VERSION|scanA|scanB|element|column|columns|key|property|keyword)$/;
/** Arguments, by the name of the function, that are never texts. */
const OPAQUE_CALLS =
  /^(random|includes|has|get|set|startsWith|endsWith|split|indexOf|lastIndexOf|match|test|replace|replaceAll|require|resolve|createHash|digest|update|toString|padStart|padEnd|TextDecoder|TextEncoder|RegExp|Error|TypeError|RangeError|SyntaxError|on|off|once|emit|localeCompare|readFile|writeFile|open|createReadStream|URL|Symbol|delete|hashText|makeRandom|part64|run|task|Option\.choices|choices|dispatch|runTask|join)$/;
const TEXT_PROPERTIES =
  /^(message|remedy|hint|question|meaning|description|caption|heading|title|label|note|text|shows|words|holds|name|evidence|advice|why|value|content|unknown|frame|summary|detail|statement)$/;
/** Properties that are codes for programs. */
const CODE_PROPERTIES =
  /^(code|schema|severity|event|class|type|encoding|flag|flags|subject|id|kind|role|status|state|source|unitSource|stream|format|barCompleteChar|barIncompleteChar|method|algorithm|sha256|mode|task|conditions|from|language|unit|up|axis|loss)$/;

const isLetters = (text) => /\p{L}{2}/u.test(text);
const UNITS = new Set(['mm', 'cm', 'kB', 'MB', 'deg', 'rad', 'ppm', 'min', 'um', 'utf', 'ft', 'in']);

const choiceOf = (forms) => ({ choice: forms });
const placeOf = (holds) => ({ place: holds });

/** Strips wrappers that change neither text nor meaning. */
function bare(node) {
  let inner = node;
  for (;;) {
    if (
      ts.isParenthesizedExpression(inner) ||
      ts.isAsExpression(inner) ||
      ts.isSatisfiesExpression(inner) ||
      ts.isNonNullExpression(inner) ||
      ts.isAwaitExpression(inner)
    )
      inner = inner.expression;
    else if (ts.isCallExpression(inner) && ts.isIdentifier(inner.expression) && inner.expression.text === 'escapeHtml')
      inner = inner.arguments[0];
    else if (
      ts.isCallExpression(inner) &&
      ts.isPropertyAccessExpression(inner.expression) &&
      /^(trim|trimEnd|trimStart)$/.test(inner.expression.name.text) &&
      inner.arguments.length === 0
    )
      inner = inner.expression.expression;
    else if (ts.isCallExpression(inner) && /^(strong|alarm)$/.test(calleeName(inner)) && inner.arguments.length === 1)
      inner = inner.arguments[0];
    else return inner;
  }
}

function calleeName(node) {
  const { expression } = node;
  if (ts.isIdentifier(expression)) return expression.text;
  if (ts.isPropertyAccessExpression(expression)) return expression.name.text;
  return '';
}

const isString = (node) => ts.isStringLiteral(node) || ts.isNoSubstitutionTemplateLiteral(node);

/** Whether an expression is written as text: a literal, a template, or a choice or sum of such. */
function isTextual(node, depth = 0) {
  const inner = bare(node);
  if (isString(inner) || ts.isTemplateExpression(inner)) return true;
  if (depth > 6) return false;
  if (ts.isConditionalExpression(inner))
    return isTextual(inner.whenTrue, depth + 1) || isTextual(inner.whenFalse, depth + 1);
  if (ts.isBinaryExpression(inner)) {
    const kind = inner.operatorToken.kind;
    if (kind === ts.SyntaxKind.PlusToken) return isTextual(inner.left, depth + 1) || isTextual(inner.right, depth + 1);
    if (kind === ts.SyntaxKind.QuestionQuestionToken || kind === ts.SyntaxKind.BarBarToken)
      return isTextual(inner.right, depth + 1);
  }
  return false;
}

/** A table ends its own lines. */
const isTable = (node) => ts.isCallExpression(bare(node)) && calleeName(bare(node)) === 'textTable';

/** The initialiser of a constant that the name stands for, in the nearest scope around it. */
function initialiserOf(identifier) {
  const name = identifier.text;
  for (let scope = identifier.parent; scope; scope = scope.parent) {
    if (scope.parameters?.some((parameter) => ts.isIdentifier(parameter.name) && parameter.name.text === name))
      return null;
    const statements = ts.isBlock(scope) || ts.isSourceFile(scope) ? scope.statements : [];
    for (const statement of statements) {
      if (!ts.isVariableStatement(statement) || !(statement.declarationList.flags & ts.NodeFlags.Const)) continue;
      for (const declaration of statement.declarationList.declarations) {
        if (ts.isIdentifier(declaration.name) && declaration.name.text === name) return declaration.initializer ?? null;
      }
    }
  }
  return null;
}

function functionsWithTexts(file) {
  const names = new Set();
  const visit = (node) => {
    if (ts.isFunctionDeclaration(node) && node.name && /string/.test(node.type?.getText(file) ?? ''))
      names.add(node.name.text);
    if (
      ts.isVariableDeclaration(node) &&
      ts.isIdentifier(node.name) &&
      node.initializer &&
      ts.isArrowFunction(node.initializer) &&
      /string/.test(node.initializer.type?.getText(file) ?? '')
    )
      names.add(node.name.text);
    ts.forEachChild(node, visit);
  };
  visit(file);
  return names;
}

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
  return Object.fromEntries(keys.map((key) => [key, [...all.texts.get(key)].sort()]));
}

/** The file as it should be. */
export function catalogueText(texts = extractTexts()) {
  return `${JSON.stringify({ language: 'en', decimalSign: '.', texts }, null, 2)}\n`;
}

/** Languages that there are texts for. */
export function languages() {
  return readdirSync(TEXTS_FOLDER)
    .filter((file) => file.endsWith('.json') && file !== 'en.json')
    .map((file) => file.slice(0, -'.json'.length));
}

/** What a language has, lacks, and holds without need. */
export function coverageOf(language, texts = extractTexts()) {
  const { texts: known } = JSON.parse(readFileSync(join(TEXTS_FOLDER, `${language}.json`), 'utf8'));
  const missing = Object.keys(texts).filter((text) => !known[text]);
  const obsolete = Object.keys(known).filter((text) => !(text in texts));
  return { count: Object.keys(texts).length, missing, obsolete };
}

/** A place that changes what it holds keeps its translation: only the mark in the English text is another. */
function carryOver(language, texts) {
  const file = join(TEXTS_FOLDER, `${language}.json`);
  const document = JSON.parse(readFileSync(file, 'utf8'));
  const unmarked = (text) => text.replace(/\{(\d+)[*=]\}/g, '{$1}');
  const known = new Map(Object.entries(document.texts).map(([text, translation]) => [unmarked(text), translation]));
  const found = Object.keys(texts).filter((text) => !document.texts[text] && known.has(unmarked(text)));
  if (found.length === 0) return;
  const all = Object.entries({
    ...document.texts,
    ...Object.fromEntries(found.map((text) => [text, known.get(unmarked(text))])),
  });
  const sorted = Object.fromEntries(all.sort(([a], [b]) => (a < b ? -1 : 1)));
  writeFileSync(file, `${JSON.stringify({ ...document, texts: sorted }, null, 2)}\n`);
}

function main(args) {
  const path = join(TEXTS_FOLDER, 'en.json');
  const texts = extractTexts();
  const wanted = catalogueText(texts);
  if (args[0] === '--missing') {
    const { missing } = coverageOf(args[1] ?? 'de', texts);
    process.stdout.write(`${JSON.stringify(Object.fromEntries(missing.map((text) => [text, ''])), null, 2)}\n`);
    return 0;
  }
  if (args[0] === '--prune') {
    const file = join(TEXTS_FOLDER, `${args[1]}.json`);
    const document = JSON.parse(readFileSync(file, 'utf8'));
    const kept = Object.entries(document.texts).filter(([text]) => text in texts);
    const sorted = Object.fromEntries(kept.sort(([a], [b]) => (a < b ? -1 : 1)));
    writeFileSync(file, `${JSON.stringify({ ...document, texts: sorted }, null, 2)}\n`);
  }
  const current = existsSync(path) && readFileSync(path, 'utf8').replaceAll('\r\n', '\n') === wanted;
  if (args[0] === '--write') {
    for (const language of languages()) carryOver(language, texts);
    if (!current) writeFileSync(path, wanted);
    process.stdout.write(`${Object.keys(texts).length} texts in ${relative(root, path)}\n`);
  } else if (!current)
    process.stdout.write('packages/cli/texts/en.json is not current: node tools/extract-texts.mjs --write\n');
  for (const language of languages()) {
    const { count, missing, obsolete } = coverageOf(language, texts);
    process.stdout.write(
      `${language}: ${count - missing.length} of ${count} texts, ${obsolete.length} no longer used\n`,
    );
  }
  return current || args[0] === '--write' ? 0 : 1;
}

if (process.argv[1] !== undefined && import.meta.url === pathToFileURL(process.argv[1]).href) {
  process.exitCode = main(process.argv.slice(2));
}
