"""The Streamlit screens. Pages draw and ask; what they do is done by functions without Streamlit."""
