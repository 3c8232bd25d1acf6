"""`layette audit --engine spark`, as a file that `spark-submit` takes.

    spark-submit --master yarn --archives layette.tar.gz#here examples/audit_on_spark.py RECORDS --out AUDIT

`layette.tar.gz` is an environment with `layette[audit,spark]` in it, for the executors: PYSPARK_PYTHON=here/bin/python.
"""

import sys

from layette.mapping.cli import main

if __name__ == "__main__":
    raise SystemExit(main(["audit", *sys.argv[1:], "--engine", "spark"]))
