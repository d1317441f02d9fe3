package mzml

// referenceDifferences lists what is known to differ from pymzml 2.5.2 as Debian 12 has
// it, with its reason. Where both cannot be right, the expected values of the corpus,
// which other readers agree with, decide.
var referenceDifferences = []struct {
	reason  string
	differs []string
	files   []string
}{
	{
		"Numpress: it takes the bytes for values, or fails, since the codec's library is another than it expects",
		[]string{"failure", "points", "sum"},
		[]string{"gen_enc_npL_npP.mzML", "gen_enc_npL_npS_zlib.mzML", "oms_fc24.mzML", "oms_swath_chrom.mzML", "oms_corrupt_array.mzML", "pym_mini_numpress_chrom.mzML"},
	},
	{
		"it calls a function that Python no longer has as soon as there is a group of terms that is referred to",
		[]string{"failure", "spectra", "chromatograms"},
		[]string{"msdk_mslevel_in_refgroup.mzML", "mzmlpy_example.mzML", "mzmlpy_example.mzML.gz", "pride_tiny_1.1.mzML", "psi_tiny_pwiz_1.1.mzML"},
	},
	{"it fails on integers, which it does not know as a data type", []string{"failure"}, []string{"hand_int_arrays.mzML"}},
	{"it fails on an array that is damaged on purpose", []string{"failure"}, []string{"hand_bad_base64.mzML", "hand_zlib_cut.mzML"}},
	{"it fails on a run without spectra", []string{"failure"}, []string{"oms_2_minimal.mzML"}},
	{"it knows no other axis of spectra than m/z, and no other ordinate of chromatograms than intensity", []string{"points", "sum"}, []string{"msdk_uv.mzML", "hand_wavelength_axis.mzML"}},
	{"it reads values under an unknown compression term as if they were not compressed", []string{"points"}, []string{"hand_unknown_compression.mzML"}},
	{"it gives no scan time for milliseconds, and leaves the times of chromatograms in the unit written, here milliseconds", []string{"time", "last"}, []string{"hand_time_units.mzML"}},
}
