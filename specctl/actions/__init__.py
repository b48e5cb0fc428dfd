"""One verb a module: joins reading, computing and keeping. Prints nothing."""
