"""Watch honey-bee colonies from scale weight, brood-nest temperature and entrance traffic."""

import os

# Our matrices are small: a second thread for each product only waits, and takes a core from ingest.
# It costs half the processor time of a page of daily figures; tests/bench/bench_api.py.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
