"""The ``qc`` command: words in, a job, words out."""
