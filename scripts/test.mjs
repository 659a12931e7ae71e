// The one gate: everything that has to hold, each part with its seconds, and a plain count as the last line.
import { existsSync, mkdirSync, readFileSync, rmSync } from 'node:fs'
import { join, relative } from 'node:path'
import { main, ready, root, runNode } from './ready.mjs'
import { ensureSystemTools } from './system-tools.mjs'

const VITEST_RESULTS = join(root, '.cache/vitest.json')

const typeCheck = (config) => () => runNode('node_modules/typescript/bin/tsc', ['--noEmit', '-p', config])
const folders = ['src', 'test', 'demo', 'bench'].filter((folder) => existsSync(join(root, folder)))

const PARTS = [
  ['system tools', ensureSystemTools],
  ['install and build', ready],
  ['types: pure', typeCheck('tsconfig.pure.json')],
  ['types: node', typeCheck('tsconfig.node.json')],
  ['types: web', typeCheck('tsconfig.web.json')],
  ['kernels', () => runNode('scripts/build-kernels.mjs')],
  ['format and lint', () => runNode('node_modules/@biomejs/biome/bin/biome', ['check', '--error-on-warnings'])],
  [
    'layers',
    () => runNode('node_modules/dependency-cruiser/bin/dependency-cruise.mjs', ['--config', '--', ...folders]),
  ],
  ['dead code', () => runNode('node_modules/knip/bin/knip.js')],
]

const CANNOT_GO_ON_WITHOUT = ['system tools', 'install and build']

async function timed(name, body) {
  console.log(`\n== ${name}`)
  const startedMs = performance.now()
  let passed = false
  try {
    passed = ((await body()) ?? 0) === 0
  } catch (error) {
    console.error(error.message)
  }
  return { name, passed, seconds: (performance.now() - startedMs) / 1000 }
}

/** The tests that did not hold, each with its file and its first line of reason: told at the end, where logs are read. */
function broken(file) {
  const name = relative(root, file.name)
  if (file.status !== 'passed' && file.assertionResults.length === 0) return [`${name}: ${firstLine(file.message)}`]
  return file.assertionResults
    .filter(({ status }) => status !== 'passed')
    .map(({ fullName, status, failureMessages }) => `${name} > ${fullName}: ${firstLine(failureMessages[0] ?? status)}`)
}

const firstLine = (text) => text.split('\n', 1)[0]

/** Runs vitest and counts from its own results. A test that was skipped did not hold, so it counts as failed. */
async function vitest(args) {
  rmSync(VITEST_RESULTS, { force: true })
  mkdirSync(join(root, '.cache'), { recursive: true })
  const reporters = ['--reporter=default', '--reporter=json', `--outputFile.json=${VITEST_RESULTS}`]
  const exitCode = await runNode('node_modules/vitest/vitest.mjs', ['run', ...reporters, ...args])
  if (!existsSync(VITEST_RESULTS)) return { passed: 0, failed: 1, broken: ['vitest wrote no results'] }
  const results = JSON.parse(readFileSync(VITEST_RESULTS, 'utf8'))
  const lines = results.testResults.flatMap(broken)
  if (exitCode !== 0 && lines.length === 0) lines.push(`vitest ended with ${exitCode}, though every test passed`)
  return { passed: results.numPassedTests, failed: lines.length, broken: lines }
}

await main(async () => {
  const parts = []
  let tests = { passed: 0, failed: 0, broken: [] }
  for (const [name, body] of PARTS) {
    const part = await timed(name, body)
    parts.push(part)
    if (!part.passed && CANNOT_GO_ON_WITHOUT.includes(name)) break
  }
  if (parts.length === PARTS.length) {
    const part = await timed('tests', async () => {
      tests = await vitest(process.argv.slice(2))
      return tests.failed
    })
    parts.push(part)
  }
  console.log('')
  for (const { name, passed, seconds } of parts) {
    console.log(`${passed ? 'ok    ' : 'FAILED'} ${seconds.toFixed(1).padStart(6)} s  ${name}`)
  }
  for (const line of tests.broken) console.log(`FAILED ${line}`)
  // The part "tests" is counted by its tests.
  const others = parts.filter((part) => part.name !== 'tests')
  const passed = tests.passed + others.filter((part) => part.passed).length
  const failed = tests.failed + others.filter((part) => !part.passed).length
  console.log(`${passed} passed, ${failed} failed`)
  return failed === 0 ? 0 : 1
})
