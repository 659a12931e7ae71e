import { type RefusalTable, refuserOf } from '../domain/index.ts'

/** Every reason for which a job is refused: stable code, when it is given, what is needed, what to do. */
export const JOBS_REFUSALS = {
  JOBS_OUTPUT_EXISTS: {
    sentence: 'A file of the delivery, or a manifest, is there already.',
    wanted: 'an empty place, or your word that it may be replaced',
    remedy: 'Name another output, or add --replace.',
  },
  JOBS_OUTPUT_IS_SOURCE: {
    sentence: 'The output would be written over a source.',
    wanted: 'an output that is not a source',
    remedy: 'Name another output; sources are never written to.',
  },
  JOBS_OUTPUT_NOT_WRITABLE: {
    sentence: 'The system does not allow this user to write there.',
    wanted: 'a place that you may write to',
    remedy: 'Choose another output or change its permissions.',
  },
  JOBS_OUTPUT_NOT_A_FOLDER: {
    sentence: 'A file stands where the output folder should be.',
    wanted: 'a folder',
    remedy: 'Name another output folder.',
  },
  JOBS_DISK_FULL: {
    sentence: 'The disk is full, or would be before the work is done.',
    wanted: 'room for the deliverables and the scratch planes',
    remedy: 'Free some space or choose an output on another disk.',
  },
  JOBS_DISK_FAILED: {
    sentence: 'The disk or the network reported an error while the work was written or read back.',
    wanted: 'a disk that works',
    remedy: 'Choose an output on another disk.',
  },
  JOBS_COMMIT_UNFINISHED: {
    sentence: 'The disk failed while a delivery that is made and verified was put in place.',
    wanted: 'a disk that works',
    remedy: 'Run "plimsoll verify" on the folder once the disk works: it first finishes what was begun.',
  },
  JOBS_FOLDER_BUSY: {
    sentence: 'Another run is writing into the folder.',
    wanted: 'one writer at a time',
    remedy: 'Wait for it to end, or name another output folder.',
  },
  JOBS_LAYOUT_UNKNOWN: {
    sentence: 'The header does not say what the channels are, and the audio gives no clear evidence.',
    wanted: 'the order of the channels',
    remedy:
      'Say it with --layout 5.0, 5.1 or 7.1, and for 5.1 with --order itu (L R C LFE Ls Rs), film (L C R Ls Rs LFE) or ' +
      'aac (C L R Ls Rs LFE).',
  },
  JOBS_SOURCE_DAMAGED: {
    sentence: 'The file is truncated, or its header lies about its size.',
    wanted: 'a whole file',
    remedy: 'Copy the file again from its origin; "plimsoll measure" reads what is there.',
  },
  JOBS_SOURCE_CHANGED: {
    sentence: 'The source was written to while it was used.',
    wanted: 'a file that stays as it is until the work is done',
    remedy: 'Let the copy or recording finish, then try again.',
  },
  JOBS_SOURCE_NOT_FINITE: {
    sentence: 'A sample of the source is NaN or infinite.',
    wanted: 'finite samples only',
    remedy: 'Mend the file in the program that wrote it; "plimsoll measure" tells how many there are.',
  },
  JOBS_SOURCE_LAYOUT: {
    sentence: 'The layout of the source does not fit the command.',
    wanted: 'another layout',
    remedy: 'See "plimsoll help" for what each command takes.',
  },
  JOBS_MOMENT: {
    sentence: 'The moment to be explained does not exist or lies outside of the programme.',
    wanted: 'a moment of the programme',
    remedy: 'Give timecode where the programme has it, else hours, minutes and seconds as in 0:12:03.500, or seconds.',
  },
  JOBS_STEM_MISMATCH: {
    sentence: 'The stem is not aligned with the mix: another length, rate or layout.',
    wanted: 'a two-track stem of the same sample rate and number of frames as the mix',
    remedy: 'Export the stem over the whole length of the mix.',
  },
  JOBS_SAMPLE_RATE: {
    sentence: 'The spec does not take the sample rate of the source, and Plimsoll does not convert it yet.',
    wanted: 'a source at a rate of the spec',
    remedy: 'Convert the sample rate first, with a converter that you trust.',
  },
  JOBS_WOULD_CLIP: {
    sentence: 'The result would pass full scale, and nothing may clip.',
    wanted: 'peaks below full scale',
    remedy: 'Add --gain with the value named above, or use "plimsoll deliver", which fits the result under a ceiling.',
  },
  JOBS_EXPORT_FORMAT: {
    sentence: 'The ending of the name is none of the formats that passages are exported to.',
    wanted: 'a name that ends in .csv, .edl, .otio, .vtt or .wav',
    remedy: 'Choose the format by the ending of the name.',
  },
  JOBS_EXPORT_NOT_WAV: {
    sentence: 'Markers are written into a copy of a WAV file, and the source is none.',
    wanted: 'a WAV, BWF, RF64 or BW64 source',
    remedy: 'Export the passages as CSV, EDL, OTIO or WebVTT.',
  },
  JOBS_TIMECODE_RATE: {
    sentence: 'No timecode rate is known, or the one that is named cannot be counted so.',
    wanted: 'a rate of the trade, with drop-frame at 29.97 and 59.94 only',
    remedy: 'Give --timecode-rate 23.976, 24, 25, 29.97, 30, 48, 50, 59.94 or 60.',
  },
  JOBS_TIMECODE_LABEL: {
    sentence: 'No picture has that timecode label.',
    wanted: 'a label that exists',
    remedy: 'Write hours, minutes, seconds and frames as in 10:00:00:00.',
  },
  JOBS_NOT_A_DELIVERY: {
    sentence: 'The folder holds no manifest.',
    wanted: 'a folder that "plimsoll deliver" made',
    remedy: 'Name the delivery folder, or a single audio file.',
  },
  JOBS_SHEET_INVALID: {
    sentence: 'The sheet does not say what a sheet must say, or it does not fit its sources.',
    wanted: 'a valid sheet',
    remedy: 'Mend the lines named above; "plimsoll sheet new" writes a sheet to start from.',
  },
  JOBS_SHEET_CHANGED: {
    sentence: 'Somebody else has changed the sheet since it was opened.',
    wanted: 'the sheet as it was when you opened it',
    remedy: 'Open the title again to see the changes, then make yours.',
  },
  JOBS_SHELF_FOLDER: {
    sentence: 'The folder of the shelf cannot be read.',
    wanted: 'a folder with masters or sheets in it',
    remedy: 'Name another folder, or change its permissions.',
  },
  JOBS_ADD_NAME: {
    sentence: 'A file with that name cannot be put on the shelf.',
    wanted:
      'a WAV, BWF, RF64, BW64, FLAC, sheet or picture (MP4, MOV, MKV, WebM, MXF) under a plain name, in one folder at most',
    remedy: 'Rename the file, or put it into the folder of the shelf by hand.',
  },
  JOBS_ADD_CUT: {
    sentence: 'A file did not reach the shelf whole; nothing of it was kept.',
    wanted: 'all bytes of the file',
    remedy: 'Send it again.',
  },
  JOBS_ADD_PATH: {
    sentence: 'There is no master at the path that was typed.',
    wanted: 'the path of a master, or of a folder with masters, on this machine',
    remedy: 'Type the whole path, as the file manager shows it.',
  },
  JOBS_TITLE_UNKNOWN: {
    sentence: 'No title of that name is on the shelf.',
    wanted: 'a title of the shelf',
    remedy: 'Look at the shelf again: the file may have been moved.',
  },
  JOBS_SOURCE_HASH: {
    sentence: 'A source is not the file that the sheet was made for.',
    wanted: 'the file that the sheet was made for',
    remedy: 'Find that file, or write the new hash into the sheet if its times and trims still hold.',
  },
  JOBS_REELS_DIFFER: {
    sentence: 'Files that shall be one programme differ in layout, sample rate or words.',
    wanted: 'reels that are alike in all but length',
    remedy: 'Name the reels of one programme only, or bring them to one form first.',
  },
  JOBS_TRIM_PLACE: {
    sentence: 'A --trim stands at a time that does not exist or lies outside the programme.',
    wanted: 'a stretch inside the programme',
    remedy: 'Give times inside the programme.',
  },
  JOBS_SPEC_MISSING: {
    sentence: 'Neither the command nor the sheet names a delivery spec.',
    wanted: 'a delivery spec',
    remedy: 'Add --spec, or name it in the sheet.',
  },
  JOBS_SPEC_UNKNOWN: {
    sentence: 'No delivery spec has that name, and there is no file at that path.',
    wanted: 'the name of a spec, or the path of a spec file',
    remedy: 'See "plimsoll specs" for the list.',
  },
  JOBS_SPEC_INVALID: {
    sentence: 'The spec file does not say what a delivery spec must say.',
    wanted: 'a valid spec file',
    remedy: 'Mend the lines named above; "plimsoll specs example" prints one to start from.',
  },
} as const satisfies RefusalTable

export type JobsRefusalCode = keyof typeof JOBS_REFUSALS

export const refuse = refuserOf(JOBS_REFUSALS)
