// Package watch finds complete files in watched folders and hands each, once,
// to whoever takes custody of it.
//
// The truth is a scan that compares what lies in a folder with what was taken
// from it; notifications from the operating system only make the next scan come
// sooner, for they can be lost, come too early, or not exist at all on a share.
// A watched folder is only ever read.
//
// A file is ready when nothing about it has changed for a quiet period by this
// program's own clock and its format's end mark, if it has one, is there. A file
// that stays unchanged without its end mark is handed over in the end as
// incomplete, so that it is kept and told, not forgotten.
package watch
