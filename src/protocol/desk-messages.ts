import { z } from 'zod'
import type {
  Clock,
  DeliverableRole,
  DeliverySpec,
  Finding,
  LayoutName,
  Margin,
  Measurements,
  Passage,
  SampleEncoding,
  Sheet,
} from '../domain/index.ts'

/**
 * How a title of the shelf stands. `new`: nobody has measured it since it last changed; `needs-ears`: it conforms, and
 * something in it has to be listened to.
 */
export type TitleState = 'new' | 'working' | 'conforms' | 'needs-ears' | 'does-not-conform' | 'no-spec' | 'refused'

/** What a refusal says, as it travels. */
export type RefusalMessage = { readonly code: string; readonly message: string }

/** One title as the shelf lists it. */
export type ShelfEntry = {
  /** Names the title in every address: its path from the shelf's folder. */
  readonly id: string
  readonly name: string
  readonly path: string
  readonly isSheet: boolean
  readonly state: TitleState
  /** Null until it was measured. */
  readonly measured: {
    readonly layout: LayoutName
    readonly durationSeconds: number
    readonly programmeLoudnessLkfs: number | null
    readonly specTitle: string | null
    readonly thinnest: Pick<Margin, 'line' | 'margin' | 'unit'> | null
    /** Short-term loudness in equal columns; null where nothing is heard. */
    readonly shortTermLkfs: readonly (number | null)[]
    readonly passageCount: number
  } | null
  readonly refusal: RefusalMessage | null
  readonly delivery: { readonly folder: string; readonly conforms: boolean | null } | null
}

export type Shelf = { readonly version: 1; readonly folder: string; readonly titles: readonly ShelfEntry[] }

/** What is being done for a title, told as it goes on. */
export type WorkMessage = {
  readonly titleId: string
  readonly kind: z.infer<typeof workKind>
  readonly stage: string
  /** Of all of the work, 0..1. */
  readonly share: number
  readonly state: 'waiting' | 'running' | 'done' | 'stopped' | 'refused'
  readonly refusal: RefusalMessage | null
  /** Of a delivery that is done. */
  readonly outcome: { readonly conforms: boolean; readonly isDelivered: boolean; readonly verdict: string } | null
}

/** How samples travel to the page: interleaved, in the working order of channels. */
export type SoundShape = { readonly encoding: SampleEncoding; readonly channelCount: number }

/** A file with the picture of a title: what it is, and how its pictures are coded; null where it does not say. */
export type PictureMessage = {
  readonly name: string
  readonly container: string
  readonly mediaType: string
  readonly coding: string | null
}

/** A title opened at the desk; the energies follow in the same answer (`packTitle`). */
export type TitleHead = {
  readonly version: 1
  readonly id: string
  readonly name: string
  readonly path: string
  /** Where decisions are saved; the file need not exist yet. */
  readonly sheetPath: string
  /** Text of the sheet as it lies on disk, or as it would be written first. */
  readonly sheetText: string
  /** Names the state of the sheet on disk: sent back with a change. */
  readonly sheetTag: string
  readonly layout: LayoutName
  readonly role: DeliverableRole
  /** How its samples travel to the page. */
  readonly sound: SoundShape
  readonly ground: { readonly clock: Clock | null; readonly sampleRateHz: number; readonly frameCount: number }
  /** Of the source as it is. */
  readonly measurements: Measurements
  readonly spec: DeliverySpec | null
  readonly findings: readonly Finding[]
  readonly passages: readonly Passage[]
  readonly parts: readonly { readonly startFrame: number; readonly frameCount: number }[]
  /** Where there is a picture to it; the first that the browser can show is shown. */
  readonly pictures: readonly PictureMessage[]
}

/** The numbers of one stretch of programme from which every figure is computed. */
export type PartEnergies = {
  /** Mean squares of the K-weighted signal, every 10 ms. */
  readonly powers10ms: Float64Array
  /** Of the Lo/Ro fold-down; empty where there is none. */
  readonly foldDown10ms: Float64Array
  /** Highest true peak of all channels, linear, every 100 ms. */
  readonly truePeak100ms: Float32Array
  readonly foldDownTruePeak100ms: Float32Array
  /** Mean square of each channel, `[hop * channelCount + channel]`. */
  readonly channels100ms: Float32Array
  /** 1 where somebody speaks; empty where nobody listened. */
  readonly isSpeech100ms: Uint8Array
  /** 1 where a voice sounds: what dialogue loudness is the mean of. */
  readonly isSpoken100ms: Uint8Array
}

/** Scenes as a sheet would say them, found in the programme; and what the whole title starts from. */
export type SceneSuggestion = Pick<Sheet['upmix'], 'start' | 'scenes'>

/** The sheet of a title as it lies on disk, with the title's id from now on. */
export type SheetState = { readonly id: string; readonly text: string; readonly tag: string }

/** A change of the sheet: its whole text, and the state that it was made from. */
export const sheetChange = z.strictObject({ text: z.string().max(4_000_000), tag: z.string() })

export const workKind = z.enum(['measure', 'plan', 'deliver', 'scenes'])

/** A sheet as it stands in the page, saved or not. */
export const planOrder = z.strictObject({ text: z.string().max(4_000_000) })

export const addOrder = z.strictObject({ path: z.string().max(4096) })

export const deliverOrder = z.strictObject({ keepsNonconforming: z.boolean() })
