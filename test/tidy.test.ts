// Rules that no other tool checks. Each says what to do; a rule that a linter can hold belongs in biome.json instead.
import { spawnSync } from 'node:child_process'
import { existsSync, readdirSync, readFileSync, statSync } from 'node:fs'
import { basename, join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { describe, expect, it } from 'vitest'
// @ts-expect-error the scripts are plain JavaScript
import { pages } from '../scripts/write-pages.mjs'
import { FIT_PARAMETERS, type Parameter, type ParameterTable, UPMIX_PARAMETERS } from '../src/domain/index.ts'

const root = fileURLToPath(new URL('..', import.meta.url))

const tracked = spawnSync('git', ['ls-files', '-z', '--cached', '--others', '--exclude-standard'], {
  cwd: root,
  encoding: 'utf8',
})
  .stdout.split('\0')
  .filter((path) => path !== '' && existsSync(join(root, path)))

const isText = (path: string) => /[.](?:ts|mjs|cjs|json|md|c|py|sh|grit|yml|html|css|svg)$|^[.]ci\/run$/.test(path)
const read = (path: string) => readFileSync(join(root, path), 'utf8')
const texts = tracked.filter((path) => isText(path) && path !== 'package-lock.json')
const sources = texts.filter((path) => path.startsWith('src/') && !path.endsWith('.test.ts'))

/** Every place where a pattern stands, as `path:line text`. */
function placesOf(pattern: RegExp, paths: readonly string[]): string[] {
  return paths.flatMap((path) =>
    read(path)
      .split('\n')
      .flatMap((line, index) => (pattern.test(line) ? [`${path}:${index + 1} ${line.trim()}`] : [])),
  )
}

it('has files to look at', () => {
  expect(tracked.length).toBeGreaterThan(100)
})

describe('files', () => {
  it('are small', () => {
    const large = tracked.filter((path) => path !== 'package-lock.json' && statSync(join(root, path)).size > 600_000)
    expect(large, 'make it by code, or store less of it').toEqual([])
  })

  it('are named after what they hold', () => {
    const vague = /^(?:.*-)?(?:utils?|helpers?|misc|common|manager|handler|stuff|shared)[.](?:ts|mjs)$/
    expect(tracked.filter((path) => vague.test(basename(path)))).toEqual([])
  })

  it('name no place on one machine', () => {
    const place = new RegExp(
      ['work', 'root', 'home', 'Users'].map((folder) => `(?<![\\w.\\]*])/${folder}/\\w`).join('|'),
    )
    expect(placesOf(place, texts)).toEqual([])
  })

  it('leave nothing for later', () => {
    const later = new RegExp(`\\b(?:${['TO', 'FIX', 'XX'].map((half, i) => half + ['DO', 'ME', 'X'][i]).join('|')})\\b`)
    expect(placesOf(later, texts)).toEqual([])
  })
})

it('the lockfile holds no addresses, so that any registry serves it', () => {
  expect(read('package-lock.json')).not.toContain('"resolved"')
})

describe('refusals', () => {
  it('use codes of the tables only, and use them all', () => {
    const listed = new Set(read('docs/REFUSALS.md').match(/(?<=`)[A-Z]+(?:_[A-Z]+)+(?=`)/g))
    const layers = [...new Set([...listed].map((code) => code.split('_')[0]))].join('|')
    const used = new Set(
      sources.flatMap(
        (path) => read(path).match(new RegExp(`(?<=['"])(?:${layers}|PROTOCOL|CLI)(?:_[A-Z]+)+(?=['"])`, 'g')) ?? [],
      ),
    )
    expect([...used].sort()).toEqual([...listed].sort())
  })
})

describe('documents', () => {
  it('that are made from tables say what the tables say', async () => {
    const texts = Object.entries((await pages()) as Record<string, string>)
    for (const [path, text] of texts) expect(read(path), 'run: npx tsx scripts/write-pages.mjs').toBe(text)
  })

  const documents = texts.filter((path) => path.endsWith('.md'))

  it('cite decisions that exist', () => {
    const decisions = readdirSync(join(root, 'docs/decisions')).map((name) => name.slice(0, 4))
    const cited = texts.flatMap((path) =>
      [...read(path).matchAll(/docs\/decisions\/(\d{4})|\bdecision (\d{4})\b/g)].map(
        ([, inPath, inWords]) => `${path}: ${inPath ?? inWords}`,
      ),
    )
    expect(cited.filter((place) => !decisions.includes(place.slice(-4)))).toEqual([])
    expect(new Set(decisions).size, 'two decisions share a number').toBe(decisions.length)
  })

  it('name files, and names in them, that exist', () => {
    const missing = documents.flatMap((path) =>
      [...read(path).matchAll(/`((?:src|test|scripts|demo|bench|docs|[.]ci)\/[\w./-]*)(?:#(\w+))?`/g)]
        .map(([, file, name]) => ({ file: file as string, name }))
        .filter(({ file, name }) => {
          if (!existsSync(join(root, file))) return true
          return name !== undefined && !new RegExp(`\\b${name}\\b`).test(read(file))
        })
        .map(({ file, name }) => `${path}: ${file} ${name ?? ''}`),
    )
    expect(missing).toEqual([])
  })

  it('link to files that exist', () => {
    const broken = documents.flatMap((path) =>
      [...read(path).matchAll(/\]\((?!https?:|#)([^)#\s]+)/g)]
        .map(([, target]) => target as string)
        .filter((target) => !existsSync(join(root, path, '..', target)))
        .map((target) => `${path}: ${target}`),
    )
    expect(broken).toEqual([])
  })

  it('show commands and options that exist', () => {
    const scripts = JSON.parse(read('package.json')).scripts
    const wrong: string[] = []
    for (const path of documents) {
      for (const [, script] of read(path).matchAll(/`npm (?:run )?(start|test|build|bench|\w+)(?= |`)/g))
        if (!((script as string) in scripts) && !['ci', 'install'].includes(script as string))
          wrong.push(`${path}: npm ${script}`)
      for (const command of shownCommands(read(path))) {
        const [, name = '', ...words] = command.split(/\s+/)
        const help = helpOf(name)
        if (help === null) wrong.push(`${path}: ${command}`)
        for (const option of words.filter((word) => /^--[a-z]/.test(word)))
          if (help !== null && !help.includes(option.split('=')[0] as string)) wrong.push(`${path}: ${name} ${option}`)
      }
    }
    expect(wrong).toEqual([])
  })

  it('set settings that exist, to values that they take', () => {
    const table: ParameterTable = { ...UPMIX_PARAMETERS, ...FIT_PARAMETERS }
    const isTaken = (row: Parameter | undefined, value: string) => {
      if (row === undefined) return false
      if (row.kind === 'choice') return row.choices.includes(value)
      return Number(value) >= row.min && Number(value) <= row.max
    }
    const shown = documents.flatMap((path) => [...read(path).matchAll(/(?:--set |`)([a-z][A-Za-z]+)=([\w.-]+)/g)])
    const wrong = shown.filter(([, name, value]) => name !== 'name' && !isTaken(table[name as string], value as string))
    expect(shown.length).toBeGreaterThan(10)
    expect(wrong.map(([text]) => text)).toEqual([])
  })
})

/** Lines of `sh` blocks that start `plimsoll`, joined where they go on after a backslash. */
function shownCommands(document: string): string[] {
  return [...document.matchAll(/```sh\n([\s\S]*?)```/g)]
    .flatMap(([, block]) => (block as string).replace(/\\\n/g, ' ').split('\n'))
    .map((line) =>
      line
        .replace(/^\s*(?:npx )?/, '')
        .replace(/#.*$/, '')
        .trim(),
    )
    .filter((line) => line.startsWith('plimsoll '))
}

const helps = new Map<string, string | null>()

/** What a command's `--help` prints; null if there is no such command. */
function helpOf(command: string): string | null {
  const known = helps.get(command)
  if (known !== undefined) return known
  const args = command.startsWith('-') ? ['--help'] : [command, '--help']
  const { status, stdout } = spawnSync(process.execPath, ['dist/cli/main.js', ...args], { cwd: root, encoding: 'utf8' })
  const help = status === 0 ? stdout : null
  helps.set(command, help)
  return help
}
