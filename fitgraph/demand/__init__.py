"""Many enquiries at once: what people own and ask for, and which of them can be served."""
