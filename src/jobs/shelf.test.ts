import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { expect, onTestFinished, test } from 'vitest'
import { Cancelled } from '../domain/index.ts'
import type { WorkMessage } from '../protocol/index.ts'
import { titlesIn } from './shelf-folder.ts'
import { WorkQueue } from './work-queue.ts'

function folderWith(files: Readonly<Record<string, string>>): string {
  const folder = mkdtempSync(join(tmpdir(), 'plimsoll-shelf-'))
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }))
  for (const [path, text] of Object.entries(files)) {
    mkdirSync(join(folder, path, '..'), { recursive: true })
    writeFileSync(join(folder, path), text)
  }
  return folder
}

const sheet = (name: string, path: string) =>
  JSON.stringify({ sheetVersion: 1, title: { id: 'saltmarsh-103', name }, sources: [{ path }] })

test('a sheet takes the place of its master; deliveries, other files and hidden ones are no titles', () => {
  const folder = folderWith({
    'harbour-day.wav': '',
    'reel.FLAC': '',
    'notes.txt': '',
    'package.json': '{}',
    '.hidden.wav': '',
    'saltmarsh/103.sheet.json': sheet('Saltmarsh Lane 103', 'master.wav'),
    'saltmarsh/master.wav': '',
    'deliveries/harbour-day/manifest.json': '{}',
    'delivered/manifest.json': '{}',
    'delivered/mix_51.wav': '',
  })
  expect(titlesIn(folder).map(({ id, name, titleId, isSheet }) => [id, name, titleId, isSheet])).toEqual([
    ['saltmarsh/103.sheet.json', 'Saltmarsh Lane 103', 'saltmarsh-103', true],
    ['harbour-day.wav', 'harbour-day', 'harbour-day', false],
    ['reel.FLAC', 'reel', 'reel', false],
  ])
})

test('a broken sheet is listed, so that opening it can say what is wrong', () => {
  const folder = folderWith({ 'broken.json': '{ "sheetVersion": 1, "title": ' })
  expect(titlesIn(folder)).toMatchObject([{ id: 'broken.json', name: 'broken' }])
})

const until = (signal: AbortSignal) =>
  new Promise<null>((_, reject) => signal.addEventListener('abort', () => reject(new Cancelled('stopped by the user'))))

test('work goes one after the other, is told, stopped on request, and a failure does not hold up the next', async () => {
  const queue = new WorkQueue()
  const told: string[] = []
  queue.listen(({ titleId, state }: WorkMessage) => told.push(`${titleId} ${state}`))
  const kind = 'measure' as const
  const first = queue.add({ titleId: 'a', kind, run: ({ signal }) => until(signal) })
  const broken = queue.add({ titleId: 'b', kind, run: () => Promise.reject(new Error('planted')) })
  const last = queue.add({ titleId: 'c', kind, run: async () => null })
  expect(queue.add({ titleId: 'a', kind, run: async () => null })).toBe(first)
  expect(queue.isWorkingOn('c')).toBe(true)
  queue.stop({ titleId: 'a', kind })
  await Promise.all([first, broken, last])
  expect(told).toEqual([
    'a waiting',
    'b waiting',
    'c waiting',
    'a stopped',
    'b running',
    'b refused',
    'c running',
    'c done',
  ])
  expect(queue.isWorkingOn('c')).toBe(false)
})

test('who comes later hears how things stand', async () => {
  const queue = new WorkQueue()
  await queue.add({ titleId: 'a', kind: 'deliver', run: async () => null })
  const told: WorkMessage[] = []
  queue.listen((message) => told.push(message))
  expect(told).toMatchObject([{ titleId: 'a', kind: 'deliver', state: 'done' }])
})
