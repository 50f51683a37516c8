"""The shipped plans, packaged as `tetherwatch.config`; read by `advise.library`."""
