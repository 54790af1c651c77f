"""What the screens show and do, without Streamlit: a command-line user could call all of it."""
