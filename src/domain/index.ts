export type {
  Alteration,
  AlterationHistory,
  AlteredDialogue,
  AlteredLine,
  AppliedTrim,
  CeilingWork,
  DialogueHistory,
  HeardMoves,
  RideTouch,
} from './alteration.ts'
export {
  type AudioSink,
  type AudioSource,
  BYTES_PER_SAMPLE,
  bytesPerFrame,
  type Cancellation,
  type PcmFormat,
  type PlaneStore,
  type SampleEncoding,
} from './audio.ts'
export { cornersOf } from './band-corners.ts'
export { BANDS, type BandName } from './band-parameters.ts'
export { type BandStandings, STANDING_VALUES, standingOver } from './band-standings.ts'
export {
  type BandHistory,
  type CeilingEvent,
  type DeliverableRole,
  type DeliveredFile,
  type DeliveryReport,
  type DrawnCurve,
  type FoldDownLock,
  isStereoRole,
  type LoudnessCurve,
  type LoudnessCurves,
  type LoudnessHistory,
  type Margin,
  type ProgrammeLanes,
  peakToLoudness,
  type RideHistory,
  type StereoRole,
  thinnestMargins,
} from './delivery.ts'
export {
  dialogueLines,
  isJudgedOnDialogue,
  LEAST_DIALOGUE_SHARE,
  markedPower,
  median,
  speechWithin,
  spokenLoudness,
  spokenWithin,
  withDialogue,
} from './dialogue.ts'
export { dbToGain, dbToPower, exp2, gainToDb, log2, powerToDb } from './elementary.ts'
export { ENERGY_PARTS, type EnergyDivision, energyDivision } from './energy-division.ts'
export { lateTrack, printedValue, printFigure, printTime, printTimes } from './figures.ts'
export { assert, Bug, Cancelled, type Finding, type Place, Refusal, type Severity } from './findings.ts'
export { FIT_PARAMETERS, type FitSettings } from './fit-parameters.ts'
export type { FrameRange } from './frame-range.ts'
export {
  FINE_HOPS_PER_HOP,
  FINE_HOPS_PER_SECOND,
  framesPerFineHop,
  framesPerHop,
  framesPerSegment,
  HOPS_PER_SECOND,
  HOPS_PER_SEGMENT,
  SAMPLE_RATES_HZ,
  type Segment,
  segmentAt,
  segmentCount,
} from './grid.ts'
export type { ChannelCondition, Fault, FaultId, FaultReport } from './inspection/faults.ts'
export type { Inspection } from './inspection/inspection.ts'
export type { RoleFault, Roles, StereoOrigin } from './inspection/roles.ts'
export type { BandLimit, ChannelSpectrum, Hum, LineWhistle } from './inspection/spectrum.ts'
export type {
  FoundTone,
  FrameRateSign,
  ProposedSegment,
  SpeedSuspicion,
  Structure,
} from './inspection/structure.ts'
export type {
  Azimuth,
  NoiseFloor,
  TrackHiss,
  TrackSide,
  TrackTimecode,
  TwoTrackFigures,
  TwoTrackKind,
  TwoTrackReport,
  TwoTrackStretch,
} from './inspection/two-track.ts'
export { instantOnHop } from './instant-on-hop.ts'
export {
  encodeCoefficients,
  FOLD_DOWN_K,
  foldDownCoefficients,
  hasFoldDown,
  LAYOUTS,
  type LayoutName,
  loudnessWeight,
  type Role,
} from './layout.ts'
export { LEQ_M_LONGEST_SECONDS, LEQ_M_TRADE_LIMITS_DB, leqM } from './leq-m.ts'
export {
  bandField,
  bandOfField,
  bandsOfParts,
  besideMaster,
  curvesWithin,
  describeMeasured,
  describeParts,
  type EnergyStretch,
  FRONT_LOW_END_HZ,
  gatedLoudness,
  gatePower,
  gatingBlocks,
  HOPS_PER_GATING_BLOCK,
  highestBand,
  highestLfe,
  highestLfeOverFronts,
  joinMeasured,
  jointLoudness,
  jointLoudnessRange,
  LFE_WINDOW_HOPS,
  type LfePeak,
  type LoudestWindow,
  leastFronts,
  loudestMomentary,
  loudestShortTerm,
  loudnessCurves,
  loudnessOf,
  loudnessOfParts,
  loudnessRangeEdges,
  MOMENTARY_SECONDS,
  momentary,
  powerOf,
  SHORT_TERM_SECONDS,
  type SubLevels,
  shortTerm,
  subLevels,
  subOfHops,
  toHops,
  WhatIf,
  type WhatIfFigures,
  widestLoudnessRange,
  windowMeans,
} from './loudness/index.ts'
export { distanceInside, isInside, margins } from './margins.ts'
export type {
  BandPowers,
  ChannelFigures,
  ChannelPeaks,
  DialogueLine,
  LfeFigures,
  LoudnessFigures,
  Measured,
  MeasuredPart,
  Measurements,
  Peak,
} from './measurements.ts'
export { nearestName } from './nearest-name.ts'
export { OCTAVE_COUNT, OCTAVE_EDGES_HZ, OCTAVES_HZ } from './octaves.ts'
export { defaultSettings, type Parameter, type ParameterTable, type SettingsOf } from './parameters.ts'
export type { LevelStep, Passage } from './passages.ts'
export {
  endLabel,
  type FileProblem,
  type PlacedLimit,
  type PlacedLock,
  type PlacedScene,
  type PlacedSheet,
  placeSheet,
  type SheetGround,
} from './place-sheet.ts'
export {
  areBandsAtWork,
  type BandLinePlan,
  type BandsPlan,
  bandLineAsBands,
  bandLineCurves,
  bandTreatments,
  type CeilingLink,
  ceilingOfLfe,
  floorToGainStep,
  GAIN_STEP_DB,
  type GainPlan,
  isAtWork,
  type LowEndPlan,
  lowEndAsBands,
  roundToGainStep,
  type SlowCeiling,
} from './plan.ts'
export { type RefusalTable, refuserOf } from './refusal-table.ts'
export { SEASON_FIGURES, type Season, type SeasonCell, type SeasonFigure, seasonOf } from './season.ts'
export { type ProgrammeSegment, SEGMENT_KINDS, type SegmentKind } from './segments.ts'
export {
  type Sheet,
  type SheetDeliverable,
  type SheetLock,
  type SheetScene,
  type SheetSegment,
  type SheetSource,
  type SheetStretch,
  type SheetTrim,
  type SpecOverride,
  specForTitle,
  WAIVABLE_LINES,
} from './sheet.ts'
export { upmixOfSheet } from './sheet-upmix.ts'
export { delayAt, readSource, type SourceReading } from './source-reading.ts'
export type { BandLevelLimit, BandLine, Clause, DeliverySpec, LengthRange, Limit, LineLeftOut, Waiver } from './spec.ts'
export { lengthInWords, programmeSeconds, specForLength } from './spec-length.ts'
export { rangeInWords, type SpecLine, specLines } from './spec-lines.ts'
export {
  type NetworkLayer,
  SPEECH_MODEL_SHA256,
  SPEECH_RATE_HZ,
  type SpeechLane,
  type SpeechWeights,
  speechLane,
  spokenHops,
  voiceAt,
  voiceOf,
} from './speech.ts'
export type { SuggestedScene } from './suggested-scenes.ts'
export {
  type Clock,
  clockFromLabel,
  clockFromSamples,
  FRAME_RATE_NAMES,
  type FrameRateName,
  formatLabel,
  frameRateFraction,
  frameRateNamed,
  inWords,
  isTimecodeProblem,
  labelAt,
  parseLabel,
  pictureAt,
  picturesPerDay,
  printInstant,
  readInstant,
  type TimecodeFormat,
  type TimecodeProblem,
  timecodeFormat,
} from './timecode.ts'
export { gainSpan, type HandRide, type MixerGain, powerGains, type Trim, trimPoints } from './trims.ts'
export type { HeardSettings, MadeBand, SeenBand, SeenMoment, UpmixMoment } from './upmix-moment.ts'
export {
  CENTRE_LOW_CUT_OFF_HZ,
  LFE_OFF_DB,
  SURROUND_HIGH_CUT_OFF_HZ,
  SURROUND_LOW_CUT_OFF_HZ,
  UPMIX_PARAMETERS,
  type UpmixSettings,
} from './upmix-parameters.ts'
export {
  CUSTOMARY_UPMIX_GLIDE_MS,
  decodesMatrix,
  type FrontSpread,
  frontSpreadOf,
  frontSpreadOver,
  LONGEST_UPMIX_GLIDE_MS,
  SHORTEST_UPMIX_GLIDE_MS,
  shareAt,
  soundingRange,
  steadyUpmix,
  stereoRoleOf,
  stretchesWithin,
  type UpmixPlan,
  type UpmixScene,
  type UpmixStretch,
  upmixStretches,
} from './upmix-plan.ts'
export { findUpmixStart, sceneSettings, UPMIX_STARTS, type UpmixStart, upmixSettingsOf } from './upmix-starts.ts'
export {
  WAVEFORM_FULL_SCALE,
  WAVEFORM_TILE_POINTS,
  type Waveform,
  type WaveformPoints,
  waveformOf,
  waveformSteps,
  waveformTile,
} from './waveform.ts'
